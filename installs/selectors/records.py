"""An installation record as its pages show it, in a bounded number of queries.

Every item is judged and every stage placed anew: nothing is stored that could grow old.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from installs.calc.record_judging import (
    is_asked,
    judge_item,
    limit_source_words,
    limit_words,
)
from installs.calc.record_limits import item_limit, unit_shown
from installs.calc.record_progress import is_open, stage_progress
from installs.calc.types.judging import (
    FindingState,
    ItemFinding,
    ItemSpec,
    ItemStanding,
    JudgingContext,
)
from installs.calc.types.records import (
    DispositionKind,
    ItemKind,
    RecordState,
    SignRole,
    StageState,
)
from installs.models import (
    Disposition,
    InstallationRecord,
    Instrument,
    ItemEntry,
    Photo,
    ProductBatch,
    SignOff,
    TemplateItem,
    TemplateStage,
)
from installs.selectors.record_entries import (
    clash_of,
    disposition_of,
    judge_entry,
    untreated_of,
)
from installs.selectors.record_facts import (
    RecordFacts,
    answer_of,
    context_of,
    record_facts,
    spec_of,
)
from wimprog.lib.units import UNITS, Kind, UnitSystem

#: What stands for an item: its newest entry, that entry's disposition, its photos.
Standing = list[Any]


@dataclass(frozen=True)
class ItemView:
    """One item of a record: what it asks, what was answered, what is found of it.

    ``history`` holds all entries, the oldest first; each carries ``answer_words`` (as
    typed) and ``finding``. ``clash`` holds the entries that do not know of each other.
    """

    item: TemplateItem
    spec: ItemSpec
    finding: ItemFinding
    entry: ItemEntry | None
    history: tuple[ItemEntry, ...]
    photos: tuple[Photo, ...]
    disposition: Disposition | None
    limit_words: str
    limit_source_words: str
    unit_symbol: str
    clash: tuple[ItemEntry, ...]
    asked: bool
    answer_words: str
    untreated: tuple[ItemEntry, ...]
    low_shown: float | None = None
    high_shown: float | None = None
    range_shown: float | None = None

    @property
    def live_photos(self) -> tuple[Photo, ...]:
        """Photos that were not struck out."""
        return tuple(one for one in self.photos if one.struck_at is None)

    @property
    def wants_decision(self) -> bool:
        """Whether somebody may decide about the answer that stands."""
        return self.entry is not None and (self.is_open or bool(self.finding.warnings))

    @property
    def has_photos(self) -> bool:
        """Whether the photos that it asks for are there."""
        return len(self.live_photos) >= max(self.spec.photos_needed, 1)

    @property
    def is_open(self) -> bool:
        """Whether the answer waits for a decision or for its rework."""
        kind = DispositionKind(self.disposition.kind) if self.disposition else None
        return self.asked and is_open(self.finding, kind)

    @property
    def is_rejected(self) -> bool:
        """Whether the answer that stands was rejected."""
        return (
            self.disposition is not None
            and self.disposition.kind == DispositionKind.REJECTED
        )

    @property
    def is_settled(self) -> bool:
        """Whether the answer says all there is to say of it."""
        return self.entry is not None and self.finding.state in (
            FindingState.MEETS,
            FindingState.ANSWERED,
        )

    @property
    def n_boxes(self) -> int:
        """How many numbers are asked for; 0 for words."""
        fixed = self.spec.kind.n_numbers
        return self.spec.points or 1 if fixed is None else fixed

    @property
    def choices(self) -> tuple[str, ...]:
        """The answers to choose from; empty where it is not a choice."""
        if self.spec.kind is ItemKind.YES_NO:
            return ("yes", "no")
        return self.spec.options if self.spec.kind is ItemKind.CHOICE else ()

    @property
    def takes_limits(self) -> bool:
        """Whether a record may be held to limits of its own here."""
        return self.n_boxes > 0

    @property
    def standing(self) -> Standing:
        """What stands now, by keys, to hold against what was signed."""
        return [
            self.entry.pk if self.entry else 0,
            self.disposition.pk if self.disposition else 0,
            [photo.pk for photo in self.live_photos],
        ]


@dataclass(frozen=True)
class StageView:
    """One stage of a record, with all that its page shows."""

    stage: TemplateStage
    state: StageState
    items: tuple[ItemView, ...]
    reasons_not_ready: tuple[str, ...]
    signoffs: tuple[SignOff, ...]
    signed_roles: tuple[SignRole, ...]
    missing_roles: tuple[SignRole, ...]
    n_required: int
    n_answered: int
    n_missing_limits: int

    @property
    def newest_entry(self) -> int:
        """Key of the newest entry of the stage, 0 without one."""
        return max((one.entry.pk for one in self.items if one.entry), default=0)

    @property
    def is_frozen(self) -> bool:
        """Whether somebody has signed it, so that what follows is a correction."""
        return bool(self.signoffs)


@dataclass(frozen=True)
class RecordPage:
    """A record whole. ``photos`` and ``clashes`` are those of all its items."""

    record: InstallationRecord
    stages: tuple[StageView, ...]
    open_dispositions: tuple[ItemView, ...]
    n_items: int
    n_answered: int
    photos: tuple[Photo, ...]
    clashes: tuple[ItemView, ...]

    def stage(self, key: str) -> StageView:
        """The stage of a key.

        Raises
        ------
        KeyError
            When the template has none of that key.
        """
        for one in self.stages:
            if one.stage.key == key:
                return one
        raise KeyError(key)

    @property
    def rejected(self) -> tuple[ItemView, ...]:
        """Items whose answer was rejected: the record cannot be accepted with them."""
        return tuple(
            one for stage in self.stages for one in stage.items if one.is_rejected
        )

    @property
    def next_stage(self) -> StageView | None:
        """The first stage that is not signed, or was corrected since."""
        for one in self.stages:
            if one.state is not StageState.SIGNED:
                return one
        return None

    @property
    def is_ready_for_acceptance(self) -> bool:
        """Whether every stage is signed and nothing that stands was rejected."""
        return (
            self.record.state == RecordState.OPEN
            and bool(self.stages)
            and self.next_stage is None
            and not self.rejected
        )


def record_list() -> QuerySet[InstallationRecord]:
    """All records, the newest work first, with how much is answered and signed."""
    return InstallationRecord.objects.select_related(
        "lane__wim_site", "template", "sensor__model"
    ).annotate(
        n_items_answered=_count(ItemEntry.objects.all(), "item"),
        n_stages_signed=_count(SignOff.objects.all(), "stage"),
        n_photos=_count(Photo.objects.filter(struck_at__isnull=True), "pk"),
    )


def _count(rows: QuerySet[Any], what: str) -> Coalesce:
    """How many different ones of a record's rows there are, counted by itself."""
    counted = (
        rows.filter(record=OuterRef("pk"))
        .order_by()
        .values("record")
        .annotate(n=Count(what, distinct=True))
        .values("n")
    )
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def registers() -> dict[str, QuerySet[Any]]:
    """The instruments and product batches that an answer may name."""
    return {
        "instruments": Instrument.objects.all(),
        "batches": ProductBatch.objects.all(),
    }


def record_page(record: InstallationRecord) -> RecordPage:
    """A record with every item judged and every stage placed, in eleven queries."""
    return page_of(record_facts(record.pk))


def stage_view(record: InstallationRecord, key: str) -> StageView:
    """One stage of a record, as :func:`record_page` has it."""
    return record_page(record).stage(key)


def page_of(facts: RecordFacts) -> RecordPage:
    """The page of facts that are loaded already."""
    context = context_of(facts)
    stages: list[StageView] = []
    for stage in facts.stages:
        unsigned = [
            one.stage.title for one in stages if one.state is not StageState.SIGNED
        ]
        stages.append(_stage(facts, stage, context, unsigned))
    items = [one for stage in stages for one in stage.items]
    return RecordPage(
        record=facts.record,
        stages=tuple(stages),
        open_dispositions=tuple(one for one in items if one.is_open),
        n_items=sum(one.asked for one in items),
        n_answered=sum(
            one.asked and one.finding.state is not FindingState.NOT_ANSWERED
            for one in items
        ),
        photos=tuple(photo for one in items for photo in one.photos),
        clashes=tuple(one for one in items if one.clash),
    )


def _stage(
    facts: RecordFacts,
    stage: TemplateStage,
    context: JudgingContext,
    unsigned_before: Sequence[str],
) -> StageView:
    items = tuple(
        item_view(facts, item, context) for item in facts.items.get(stage.pk, ())
    )
    signoffs = tuple(facts.signoffs.get(stage.pk, ()))
    roles = tuple(SignRole(word) for word in stage.sign_roles)
    standing = {one.spec.key: one.standing for one in items}
    signed = tuple(
        role
        for role in roles
        if any(one.role == role and covers(one, standing) for one in signoffs)
    )
    progress = stage_progress(
        [_standing(one) for one in items],
        sign_roles=roles,
        signed_roles=signed,
        signed_before=bool(signoffs),
        unsigned_before=unsigned_before,
    )
    return StageView(
        stage=stage,
        state=progress.state,
        items=items,
        reasons_not_ready=progress.reasons,
        signoffs=signoffs,
        signed_roles=signed,
        missing_roles=tuple(role for role in roles if role not in signed),
        n_required=progress.n_required,
        n_answered=progress.n_answered,
        n_missing_limits=progress.n_open,
    )


def covers(signoff: SignOff, standing: Mapping[str, Standing]) -> bool:
    """Whether a signature was given for exactly what stands now."""
    signed = {
        one["key"]: one["standing"] for one in signoff.what_was_true.get("items", ())
    }
    return signed == dict(standing)


def _standing(one: ItemView) -> ItemStanding:
    kind = DispositionKind(one.disposition.kind) if one.disposition else None
    return ItemStanding(
        spec=one.spec,
        finding=one.finding,
        n_photos=len(one.live_photos),
        has_reason=bool(one.entry and one.entry.reason),
        disposition=kind,
        in_clash=bool(one.clash),
        n_untreated=len(one.untreated),
    )


def item_view(
    facts: RecordFacts, item: TemplateItem, context: JudgingContext
) -> ItemView:
    """One item with its entries judged; needs no query."""
    spec = spec_of(item, facts.limits.get(item.pk))
    entries = tuple(facts.entries.get(item.pk, ()))
    photos = tuple(facts.photos.get(item.pk, ()))
    n_photos = sum(photo.struck_at is None for photo in photos)
    for one in entries:
        judge_entry(facts, spec, one, context)
    entry = entries[-1] if entries else None
    limit = item_limit(spec, context)
    return ItemView(
        item=item,
        spec=spec,
        finding=judge_item(
            spec, answer_of(entry, zone=facts.zone, n_photos=n_photos), context=context
        ),
        entry=entry,
        history=entries,
        photos=photos,
        disposition=disposition_of(entry),
        limit_words=limit_words(spec, context),
        limit_source_words=limit_source_words(spec, context),
        unit_symbol=unit_shown(spec, context.system),
        clash=clash_of(entries),
        asked=is_asked(spec, context),
        answer_words=getattr(entry, "answer_words", ""),
        untreated=untreated_of(entries[:-1]),
        low_shown=_shown(spec, limit.low, context.system),
        high_shown=_shown(spec, limit.high, context.system),
        range_shown=_shown(spec, limit.largest_range, context.system, difference=True),
    )


def _shown(
    spec: ItemSpec, value: float | None, system: UnitSystem, *, difference: bool = False
) -> float | None:
    """A limit in the unit of the boxes, for a check beside them; None for none."""
    if value is None or spec.kind is ItemKind.TRIANGLE:
        return None
    if spec.measure is None or spec.quantity is not None:
        return value
    unit = UNITS[unit_shown(spec, system)]
    if difference and spec.measure is Kind.TEMPERATURE:
        return value / unit.factor
    return unit.from_si(value)
