"""Changes of stage templates: only ever on a draft, and told in its history."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.db.models import F, Max, QuerySet
from django.utils.text import slugify

from installs.calc.template_checks import item_faults
from installs.calc.types import Technology
from installs.calc.types.judging import ItemSpec
from installs.calc.types.records import TemplateState
from installs.models import StageTemplate, TemplateItem, TemplateStage
from installs.selectors.templates import items_in_order, spec_of_item
from installs.services.template_seeds import templates_seed
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.models import save_with_reason

__all__ = [
    "item_change", "item_move", "item_remove", "stage_change", "stage_move",
    "stage_remove", "template_discard", "template_draft", "template_note",
    "template_put_in_use", "templates_seed",
]  # fmt: skip

STAGE_PARTS = ("number", "key", "title", "purpose", "cautions", "sign_roles")
NOT_COPIED = ("id", "stage")
OUT_OF_THE_WAY = 10_000


# --- versions ---------------------------------------------------------------------


@transaction.atomic
def template_draft(
    *, technology: Technology | str, by: Any, why: str = ""
) -> StageTemplate:
    """Begin the next version: a copy of the one in use, or an empty one.

    Raises
    ------
    DomainError
        When the technology has a draft already.
    """
    word = str(Technology(technology))
    versions = list(StageTemplate.objects.select_for_update().filter(technology=word))
    draft = next((v for v in versions if v.state == TemplateState.DRAFT), None)
    if draft is not None:
        raise DomainError(
            f"Version {draft.version} of the {word} stages is a draft already; go on "
            "with it, or discard it first."
        )
    source = next((v for v in versions if v.state == TemplateState.IN_USE), None)
    made = StageTemplate(
        technology=word, version=max((v.version for v in versions), default=0) + 1
    )
    told = f"draft from version {source.version}" if source else "empty draft"
    save_with_reason(made, by=by, why=why or told)
    if source is not None:
        _copy_stages(source, made)
    return made


def _copy_stages(source: StageTemplate, made: StageTemplate) -> None:
    names = [
        field.name
        for field in TemplateItem._meta.concrete_fields
        if field.name not in NOT_COPIED
    ]
    for stage in source.stages.prefetch_related("items"):
        copy = TemplateStage.objects.create(
            template=made, **{name: getattr(stage, name) for name in STAGE_PARTS}
        )
        TemplateItem.objects.bulk_create(
            TemplateItem(stage=copy, **{name: getattr(item, name) for name in names})
            for item in stage.items.all()
        )


@transaction.atomic
def template_note(*, template: StageTemplate, note: str, by: Any) -> StageTemplate:
    """Write what a draft changes, and why."""
    kept = _draft(template.pk)
    kept.note = note
    save_with_reason(kept, by=by, why="note of the version")
    return kept


@transaction.atomic
def template_put_in_use(*, template: StageTemplate, by: Any, why: str) -> StageTemplate:
    """Freeze a draft and make new records by it; the one in use is replaced.

    Records that were begun keep the version that they were begun with.

    Raises
    ------
    DomainError
        When it is no draft, has a stage without items, or an item that cannot be
        asked or judged; each is named.
    """
    kept = _draft(template.pk)
    faults = _template_faults(kept)
    if faults:
        raise DomainError(f"{kept} cannot be put in use yet.", tuple(faults))
    told = why or f"version {kept.version} put in use"
    for old in StageTemplate.objects.select_for_update().filter(
        technology=kept.technology, state=TemplateState.IN_USE.value
    ):
        old.state = TemplateState.REPLACED.value
        save_with_reason(old, by=by, why=f"replaced by version {kept.version}: {told}")
    kept.state = TemplateState.IN_USE.value
    kept.in_use_at = clock.now()
    save_with_reason(kept, by=by, why=told)
    return kept


def _template_faults(template: StageTemplate) -> list[Complaint]:
    stages = list(template.stages.all())
    items = items_in_order(template)
    if not stages:
        return [Complaint("It has no stage.", remedy="Add the stages first.")]
    filled = {item.stage_id for item in items}
    empty = [
        Complaint(
            f"The stage “{stage.title}” asks for nothing.",
            remedy="Add what it has to prove, or remove it.",
        )
        for stage in stages
        if stage.pk not in filled
    ]
    return [*empty, *_faults(items)]


@transaction.atomic
def template_discard(*, template: StageTemplate, by: Any, why: str) -> None:
    """Throw a draft away. Nothing was ever recorded by it."""
    kept = _draft(template.pk)
    kept._history_user = by  # type: ignore[attr-defined]
    kept._change_reason = why or "draft discarded"  # type: ignore[attr-defined]
    kept.delete()


def _draft(pk: int) -> StageTemplate:
    """The template under a lock, or a refusal when it is not a draft."""
    kept = StageTemplate.objects.select_for_update().get(pk=pk)
    if kept.state != TemplateState.DRAFT:
        raise DomainError(
            f"The {kept} are {kept.state}: records are held to them, so they do not "
            "change. Make a draft of the next version and change that."
        )
    return kept


def _told(template: StageTemplate, by: Any, why: str, what: str) -> None:
    """Write a change of a stage or an item into the template's history."""
    told = f"{what}: {why}" if why else what
    save_with_reason(template, by=by, why=told)


# --- stages ------------------------------------------------------------------------


@transaction.atomic
def stage_change(*, stage: TemplateStage, by: Any, why: str = "") -> TemplateStage:
    """Add a stage at the end of a draft, or keep what was changed in one."""
    template = _draft(stage.template_id)
    new = stage.pk is None
    if new:
        stage.number = _next_number(template.stages.all())
        taken = set(template.stages.values_list("key", flat=True))
        stage.key = stage.key or _free_key(stage.title, taken, most=40)
    stage.full_clean()
    stage.save()
    _told(template, by, why, f"stage “{stage.title}” {'added' if new else 'changed'}")
    return stage


@transaction.atomic
def stage_move(*, stage: TemplateStage, up: bool, by: Any) -> None:
    """Put a stage of a draft before, or behind, its neighbour.

    Raises
    ------
    DomainError
        When an item would be asked before the one that it hangs on.
    """
    template = _draft(stage.template_id)
    _swap(template.stages.all(), stage.pk, up=up)
    _refuse(_faults(items_in_order(template)), "The stage was not moved.")
    _told(template, by, "", f"stage “{stage.title}” moved {'up' if up else 'down'}")


@transaction.atomic
def stage_remove(*, stage: TemplateStage, by: Any, why: str = "") -> None:
    """Take a stage with its items out of a draft.

    Raises
    ------
    DomainError
        When items of other stages hang on its items.
    """
    template = _draft(stage.template_id)
    gone = set(stage.items.values_list("key", flat=True))
    rest = [one for one in items_in_order(template) if one.stage_id != stage.pk]
    _refuse(_hanging(rest, gone), f"The stage “{stage.title}” was not removed.")
    title = stage.title
    stage.delete()
    _renumber(template.stages.all(), list(template.stages.values_list("pk", flat=True)))
    _told(template, by, why, f"stage “{title}” removed")


# --- items --------------------------------------------------------------------------


@transaction.atomic
def item_change(*, item: TemplateItem, by: Any, why: str = "") -> TemplateItem:
    """Add an item at the end of its stage, or keep what was changed in one.

    Raises
    ------
    DomainError
        Naming what keeps the item from being asked or judged; or because the template
        is not a draft.
    """
    template = _draft(item.stage.template_id)
    new = item.pk is None
    others = [one for one in items_in_order(template) if one.pk != item.pk]
    if new:
        item.number = _next_number(item.stage.items.all())
        taken = {one.key for one in others}
        item.key = item.key or _free_key(item.prompt, taken, most=60)
    item.full_clean()
    place = (item.stage.number, item.number)
    earlier = [o for o in others if (o.stage.number, o.number) < place]
    later = [o for o in others if (o.stage.number, o.number) > place]
    _refuse(_faults([*earlier, item, *later]), "The item was not kept.")
    item.save()
    _told(template, by, why, f"“{item.prompt}” {'added' if new else 'changed'}")
    return item


@transaction.atomic
def item_move(*, item: TemplateItem, up: bool, by: Any) -> None:
    """Put an item of a draft before, or behind, its neighbour in the stage.

    Raises
    ------
    DomainError
        When an item would be asked before the one that it hangs on.
    """
    template = _draft(item.stage.template_id)
    _swap(item.stage.items.all(), item.pk, up=up)
    _refuse(_faults(items_in_order(template)), "The item was not moved.")
    _told(template, by, "", f"“{item.prompt}” moved {'up' if up else 'down'}")


@transaction.atomic
def item_remove(*, item: TemplateItem, by: Any, why: str = "") -> None:
    """Take an item out of a draft.

    Raises
    ------
    DomainError
        When other items hang on it.
    """
    template = _draft(item.stage.template_id)
    rest = [one for one in items_in_order(template) if one.pk != item.pk]
    _refuse(_hanging(rest, {item.key}), f"“{item.prompt}” was not removed.")
    stage, prompt = item.stage, item.prompt
    item.delete()
    _renumber(stage.items.all(), list(stage.items.values_list("pk", flat=True)))
    _told(template, by, why, f"“{prompt}” removed")


# --- order and rules ---------------------------------------------------------------


def _next_number(rows: QuerySet[Any]) -> int:
    return int(rows.aggregate(last=Max("number"))["last"] or 0) + 1


def _swap(rows: QuerySet[Any], pk: int, *, up: bool) -> None:
    order = list(rows.order_by("number").values_list("pk", flat=True))
    here = order.index(pk)
    there = here - 1 if up else here + 1
    if 0 <= there < len(order):
        order[here], order[there] = order[there], order[here]
        _renumber(rows, order)


def _renumber(rows: QuerySet[Any], order: Sequence[int]) -> None:
    """Number rows from 1 in the order given, out of each other's way meanwhile."""
    rows.order_by().update(number=F("number") + OUT_OF_THE_WAY)
    held = rows.in_bulk(order)
    for number, pk in enumerate(order, start=1):
        held[pk].number = number
    rows.model.objects.bulk_update(held.values(), ["number"])


def _free_key(words: str, taken: set[str], *, most: int) -> str:
    """A name from the first words that nothing else of the template has."""
    base = slugify(words)[: most - 4].strip("-") or "item"
    key, n = base, 1
    while key in taken:
        n += 1
        key = f"{base}-{n}"
    return key


def _faults(items: Sequence[TemplateItem]) -> list[Complaint]:
    """What is wrong with the items of a template, in the order they are asked in."""
    found: list[Complaint] = []
    earlier: list[ItemSpec] = []
    keys: set[str] = set()
    for item in items:
        spec = spec_of_item(item)
        if spec.key in keys:
            found.append(
                Complaint(
                    f"“{item.prompt}” has the name of another item.",
                    field="key",
                    value=spec.key,
                    expected="a name of its own in the whole template",
                )
            )
        found += item_faults(spec, earlier=earlier, test_stage=item.test_stage)
        earlier.append(spec)
        keys.add(spec.key)
    return found


def _hanging(rest: Sequence[TemplateItem], gone: set[str]) -> list[Complaint]:
    return [
        Complaint(
            f"“{item.prompt}” is asked only after an answer that would be gone.",
            remedy="Take its condition away first.",
        )
        for item in rest
        if item.only_if_key in gone
    ]


def _refuse(faults: Sequence[Complaint], message: str) -> None:
    if faults:
        raise DomainError(message, tuple(faults))
