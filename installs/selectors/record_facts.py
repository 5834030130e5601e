"""What a record is judged from, loaded whole, and its items as calc judges them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from installs.calc.layout.types import BetweenRows, GoesBy
from installs.calc.record_limits import (
    RESIN_BATCH,
    TEMPERATURE_KEYS,
    with_data_sheet,
)
from installs.calc.types import AcceptanceLimit, ElectricalQuantity
from installs.calc.types.judging import (
    USUAL_SPEED_KMH,
    Answer,
    CureLine,
    CureRules,
    ItemSpec,
    JudgingContext,
)
from installs.calc.types.records import ItemKind, LimitRule, LimitSource
from installs.models import (
    CuringRow,
    CuringTable,
    InstallationRecord,
    ItemEntry,
    Photo,
    RecordLimit,
    SignOff,
    TemplateItem,
    TemplateStage,
    WorkSettings,
)
from installs.selectors.electrical_rules import data_sheet_values, rules_by_model
from installs.selectors.plans import work_settings_get
from sites.models import Program
from sites.selectors import program_get
from wimprog.lib.units import Kind, UnitSystem

MM_PER_M = 1000.0
ENTRY_PARTS = (
    "entered_by",
    "instrument",
    "batch__curing_table",
    "disposition__entered_by",
)


@dataclass(frozen=True)
class RecordFacts:
    """All rows of a record, each kind by what it hangs on, oldest first."""

    record: InstallationRecord
    program: Program
    settings: WorkSettings
    stages: tuple[TemplateStage, ...] = ()
    items: Mapping[int, list[TemplateItem]] = field(default_factory=dict)
    entries: Mapping[int, list[ItemEntry]] = field(default_factory=dict)
    photos: Mapping[int, list[Photo]] = field(default_factory=dict)
    limits: Mapping[int, RecordLimit] = field(default_factory=dict)
    signoffs: Mapping[int, list[SignOff]] = field(default_factory=dict)
    model_limits: Mapping[str, AcceptanceLimit] = field(default_factory=dict)
    cure_rows: Mapping[int, list[CuringRow]] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        """The clock at the site."""
        return ZoneInfo(self.record.lane.wim_site.time_zone)

    @property
    def system(self) -> UnitSystem:
        """The program's units."""
        return UnitSystem(self.program.unit_system)


def record_whole(pk: int) -> InstallationRecord:
    """A record with all that its pages name, in one query."""
    return InstallationRecord.objects.select_related(
        "lane__wim_site", "template", "plan", "sensor__model", "installation"
    ).get(pk=pk)


def record_facts(pk: int) -> RecordFacts:
    """Everything of a record, in eleven queries at most."""
    record = record_whole(pk)
    stages = tuple(TemplateStage.objects.filter(template_id=record.template_id))
    by_pk = {stage.pk: stage for stage in stages}
    items: dict[int, list[TemplateItem]] = defaultdict(list)
    for item in TemplateItem.objects.filter(
        stage__template_id=record.template_id
    ).order_by("number"):
        item.stage = by_pk[item.stage_id]
        items[item.stage_id].append(item)
    entries: dict[int, list[ItemEntry]] = defaultdict(list)
    for entry in record.entries.select_related(*ENTRY_PARTS):
        entries[entry.item_id].append(entry)
    photos: dict[int, list[Photo]] = defaultdict(list)
    for photo in record.photos.all():
        photos[photo.item_id].append(photo)
    signoffs: dict[int, list[SignOff]] = defaultdict(list)
    for signoff in record.signoffs.select_related("signed_by"):
        signoffs[signoff.stage_id].append(signoff)
    return RecordFacts(
        record=record,
        program=program_get(),
        settings=work_settings_get(),
        stages=stages,
        items=items,
        entries=entries,
        photos=photos,
        limits={limit.item_id: limit for limit in record.limits.all()},
        signoffs=signoffs,
        model_limits=_model_limits(record),
        cure_rows=_cure_rows(
            entry.batch.curing_table_id
            for of_item in entries.values()
            for entry in of_item
            if entry.batch is not None
        ),
    )


def item_facts(pk: int, item: TemplateItem) -> RecordFacts:
    """What one item is judged from, and no more: for the save under a lock."""
    record = record_whole(pk)
    entries: dict[int, list[ItemEntry]] = defaultdict(list)
    found = record.entries.select_related(*ENTRY_PARTS, "item")
    by_curing = item.limit_rule == LimitRule.CURING_TABLE
    if not by_curing:
        found = found.filter(item=item)
    items: dict[int, TemplateItem] = {}
    for entry in found:
        entries[entry.item_id].append(entry)
        items[entry.item_id] = entry.item
    items[item.pk] = item
    reads_model = item.limit_rule == LimitRule.SENSOR_MODEL
    return RecordFacts(
        record=record,
        program=program_get(),
        settings=work_settings_get(),
        items={item.stage_id: list(items.values())},
        entries=entries,
        limits={one.item_id: one for one in record.limits.filter(item=item)},
        model_limits=_model_limits(record) if reads_model else {},
        cure_rows=_cure_rows(
            entry.batch.curing_table_id
            for of_item in entries.values()
            for entry in of_item
            if by_curing and entry.batch is not None
        ),
    )


def _model_limits(record: InstallationRecord) -> Mapping[str, AcceptanceLimit]:
    if record.sensor is None:
        return {}
    sensor = record.sensor
    sheet = data_sheet_values(sensor.data_sheet)
    rules = rules_by_model([sensor.model_id])[sensor.model_id]
    found = {
        str(quantity): with_data_sheet(
            quantity, one.limit, sheet.get(quantity), one.data_sheet_tolerance
        )
        for quantity, one in rules.items()
    }
    return {word: limit for word, limit in found.items() if limit is not None}


def _cure_rows(tables: Iterable[int | None]) -> dict[int, list[CuringRow]]:
    wanted = {pk for pk in tables if pk is not None}
    found: dict[int, list[CuringRow]] = defaultdict(list)
    if wanted:
        for row in CuringRow.objects.filter(table_id__in=wanted).order_by("temp_c"):
            found[row.table_id].append(row)
    return found


# --- as calc judges them -------------------------------------------------------------


def spec_of(item: TemplateItem, limit: RecordLimit | None) -> ItemSpec:
    """An item as it is judged: the record's own limits take the template's place."""
    kind = ItemKind(item.kind)
    measure = Kind(item.measure) if item.measure else None
    held = limit or item
    return ItemSpec(
        key=item.key,
        kind=kind,
        prompt=item.prompt,
        measure=measure,
        unit=item.unit,
        quantity=ElectricalQuantity(item.quantity) if item.quantity else None,
        points=item.points if kind is ItemKind.SERIES else None,
        low=held.low,
        high=held.high,
        largest_range=held.largest_range,
        expected=item.expected,
        options=tuple(item.options),
        least_photos=item.least_photos,
        required=item.required,
        limit_source=LimitSource(held.limit_source),
        limit_reference=held.limit_reference,
        only_if_key=item.only_if_key,
        only_if_answer=item.only_if_answer,
        limit_rule=LimitRule(item.limit_rule),
        replaces="in place of the template's" if limit is not None else "",
    )


def answer_of(
    entry: ItemEntry | None, *, zone: ZoneInfo, n_photos: int = 0
) -> Answer | None:
    """An entry as it is judged; the photos alone where there is no entry."""
    if entry is None:
        return Answer(n_photos=n_photos) if n_photos else None
    instrument, batch = entry.instrument, entry.batch
    return Answer(
        numbers=tuple(entry.numbers),
        typed=tuple((text, unit) for text, unit in entry.typed),
        over_range=entry.over_range,
        answer=entry.answer,
        reason=entry.reason,
        n_photos=n_photos,
        instrument=str(instrument) if instrument else "",
        instrument_due_on=instrument.calibration_due_on if instrument else None,
        batch=str(batch) if batch else "",
        batch_expires_on=batch.expires_on if batch else None,
        observed_on=entry.observed_at.astimezone(zone).date(),
    )


def context_of(facts: RecordFacts) -> JudgingContext:
    """What the answers of a record are judged beside."""
    record, settings = facts.record, facts.settings
    newest = {
        item.key: facts.entries[item.pk][-1]
        for of_stage in facts.items.values()
        for item in of_stage
        if facts.entries.get(item.pk)
    }
    sensor, plan = record.sensor, record.plan
    return JudgingContext(
        system=facts.system,
        answers={key: entry.answer for key, entry in newest.items()},
        model_name=str(sensor.model) if sensor else "",
        model_limits=facts.model_limits,
        sensor_length_m=sensor.length_m if sensor else None,
        lane_width_m=plan.lane_width_m if plan else record.lane.width_m,
        speed_kmh=plan.speed_kmh if plan else USUAL_SPEED_KMH,
        tape_sd_m=settings.tape_sd_mm / MM_PER_M,
        square_tolerance_mm=settings.square_tolerance_mm,
        cure=_cure(newest, facts.cure_rows),
        temps_c={
            whose: newest[key].numbers[0]
            for whose, key in TEMPERATURE_KEYS.items()
            if key in newest and newest[key].numbers
        },
    )


def _cure(
    newest: Mapping[str, ItemEntry], rows: Mapping[int, Sequence[CuringRow]]
) -> CureRules | None:
    """The curing table of the resin's batch."""
    resin = newest.get(RESIN_BATCH)
    batch = resin.batch if resin is not None else None
    table = batch.curing_table if batch is not None else None
    return cure_rules(table, rows.get(table.pk, ())) if table is not None else None


def cure_rules(table: CuringTable, rows: Sequence[CuringRow]) -> CureRules | None:
    """A maker's table as calc reads it; None while it has no line."""
    if not rows:
        return None
    return CureRules(
        product=table.product,
        document=table.document,
        hardener_unit=table.hardener_unit,
        pavement_c=(table.pavement_low_c, table.pavement_high_c),
        resin_c=(table.resin_low_c, table.resin_high_c),
        lines=tuple(
            CureLine(row.temp_c, row.hardener_amount, row.pot_life_min, row.cure_min)
            for row in sorted(rows, key=lambda row: row.temp_c)
        ),
        goes_by=GoesBy(table.goes_by),
        between=BetweenRows(table.between_rows),
    )
