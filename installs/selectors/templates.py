"""Reads of stage templates: the versions, one as a check list, two held together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Count, QuerySet

from installs.calc.record_limits import limit_words
from installs.calc.types import ElectricalQuantity, Technology
from installs.calc.types.judging import ItemSpec, JudgingContext
from installs.calc.types.records import (
    ItemKind,
    LimitRule,
    LimitSource,
    TemplateState,
)
from installs.models import StageTemplate, TemplateItem, TemplateStage
from wimprog.lib.units import Kind, UnitSystem

#: Technologies that are installed stage by stage.
INSTALLED = tuple(t for t in Technology if t is not Technology.TEMPERATURE_PROBE)


@dataclass(frozen=True)
class TechnologyVersions:
    """The templates of one technology, newest version first."""

    technology: str
    versions: tuple[StageTemplate, ...]

    @property
    def in_use(self) -> StageTemplate | None:
        """The version that new records are made by."""
        return self._with(TemplateState.IN_USE)

    @property
    def draft(self) -> StageTemplate | None:
        """The version that is being written."""
        return self._with(TemplateState.DRAFT)

    def _with(self, state: TemplateState) -> StageTemplate | None:
        return next((v for v in self.versions if v.state == state), None)


@dataclass(frozen=True)
class ItemRow:
    """One item as the check list shows it.

    ``passes`` is its limit in the program's units, ``whose`` where that is from,
    ``rule`` what comes first where there is more to it, ``only_if`` when it is asked.
    """

    item: TemplateItem
    passes: str
    whose: str
    rule: str
    only_if: str


@dataclass(frozen=True)
class StageRows:
    """One stage with its items."""

    stage: TemplateStage
    items: tuple[ItemRow, ...]


@dataclass(frozen=True)
class Difference:
    """One thing that two versions of a template differ in.

    ``how`` is "added", "removed" or "changed"; ``parts`` holds what, before and after.
    """

    stage: str
    what: str
    how: str
    parts: tuple[tuple[str, str, str], ...] = ()


_RULES = {
    LimitRule.FIXED: "",
    LimitRule.CURING_TABLE: "the product’s curing table comes first",
    LimitRule.SENSOR_MODEL: "the sensor model’s limits come first",
}

#: What passes where nothing is asked of the answer.
_OPEN = {
    ItemKind.YES_NO: "either answer",
    ItemKind.CHOICE: "any of them",
    ItemKind.TEXT: "any words",
}


# --- one item ------------------------------------------------------------------------


def spec_of_item(item: TemplateItem) -> ItemSpec:
    """An item as the calculations read it, without any record."""
    return ItemSpec(
        key=item.key,
        kind=ItemKind(item.kind),
        prompt=item.prompt,
        measure=Kind(item.measure) if item.measure else None,
        unit=item.unit,
        quantity=ElectricalQuantity(item.quantity) if item.quantity else None,
        points=item.points,
        low=item.low,
        high=item.high,
        largest_range=item.largest_range,
        expected=item.expected,
        options=tuple(item.options),
        least_photos=item.least_photos,
        required=item.required,
        limit_source=LimitSource(item.limit_source),
        limit_reference=item.limit_reference,
        only_if_key=item.only_if_key,
        only_if_answer=item.only_if_answer,
        limit_rule=LimitRule(item.limit_rule),
    )


def item_row(
    item: TemplateItem, system: UnitSystem, prompts: Mapping[str, str]
) -> ItemRow:
    """An item in words; ``prompts`` of all items by key, for its condition."""
    spec = spec_of_item(item)
    passes = limit_words(
        replace(spec, limit_rule=LimitRule.FIXED), JudgingContext(system=system)
    )
    only_if = ""
    if item.only_if_key:
        asked = prompts.get(item.only_if_key, item.only_if_key)
        only_if = f"only if “{asked}” is “{item.only_if_answer}”"
    return ItemRow(
        item=item,
        passes=passes or _OPEN.get(spec.kind, "no limit set"),
        whose=_whose(item) if passes or item.limit_reference else "",
        rule=_RULES[spec.limit_rule],
        only_if=only_if,
    )


def _whose(item: TemplateItem) -> str:
    if not item.limit_reference:
        return item.limit_source
    return f"{item.limit_source}: {item.limit_reference}"


def items_in_order(template: StageTemplate) -> list[TemplateItem]:
    """The items of a template as they are asked, each with its stage."""
    return list(
        TemplateItem.objects.filter(stage__template=template)
        .select_related("stage")
        .order_by("stage__number", "number")
    )


# --- versions ------------------------------------------------------------------------


def template_versions() -> QuerySet[StageTemplate]:
    """All versions, each with its numbers of stages, items and records."""
    return StageTemplate.objects.annotate(
        n_stages=Count("stages", distinct=True),
        n_items=Count("stages__items", distinct=True),
        n_records=Count("records", distinct=True),
    ).order_by("technology", "-version")


def templates_by_technology() -> list[TechnologyVersions]:
    """Every technology that is installed by stages, with its versions if any."""
    held: dict[str, list[StageTemplate]] = {str(word): [] for word in INSTALLED}
    for template in template_versions():
        held.setdefault(template.technology, []).append(template)
    return [TechnologyVersions(word, tuple(rows)) for word, rows in held.items()]


def template_stages(template: StageTemplate, system: UnitSystem) -> list[StageRows]:
    """A template as a check list, in two queries."""
    items = items_in_order(template)
    prompts = {item.key: item.prompt for item in items}
    by_stage: dict[int, list[ItemRow]] = {}
    for item in items:
        by_stage.setdefault(item.stage_id, []).append(item_row(item, system, prompts))
    return [
        StageRows(stage, tuple(by_stage.get(stage.pk, ())))
        for stage in template.stages.all()
    ]


def version_before(template: StageTemplate) -> StageTemplate | None:
    """The version that a template came after."""
    return (
        StageTemplate.objects.filter(
            technology=template.technology, version__lt=template.version
        )
        .order_by("-version")
        .first()
    )


# --- two versions --------------------------------------------------------------------


def template_differences(
    old: StageTemplate, new: StageTemplate, system: UnitSystem
) -> list[Difference]:
    """What two versions differ in, in the order of the newer one, in four queries."""
    before, after = template_stages(old, system), template_stages(new, system)
    return [*_stage_differences(before, after), *_item_differences(before, after)]


def _stage_facts(rows: StageRows) -> dict[str, Any]:
    stage = rows.stage
    return {
        "title": stage.title,
        "place": str(stage.number),
        "purpose": stage.purpose,
        "cautions": ", ".join(one.replace("_", " ") for one in stage.cautions),
        "signed by": ", ".join(stage.sign_roles),
    }


def _item_facts(row: ItemRow) -> dict[str, str]:
    item = row.item
    return {
        "question": item.prompt,
        "help": item.help,
        "kind": item.kind,
        "asked for": "required" if item.required else "if there is one",
        "what is measured": item.measure or item.quantity or item.unit,
        "electrical test": item.test_stage,
        "points": str(item.points or ""),
        "passes": row.passes,
        "whose limit": row.whose,
        "rule": row.rule,
        "answers": ", ".join(item.options),
        "photos": str(item.least_photos or ""),
        "condition": row.only_if,
    }


def _parts(
    before: Mapping[str, str], after: Mapping[str, str]
) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (name, before[name] or "nothing", after[name] or "nothing")
        for name in after
        if before[name] != after[name]
    )


def _stage_differences(
    before: Sequence[StageRows], after: Sequence[StageRows]
) -> list[Difference]:
    old = {rows.stage.key: rows for rows in before}
    new = {rows.stage.key: rows for rows in after}
    found = [
        Difference(rows.stage.title, "the whole stage", "removed")
        for key, rows in old.items()
        if key not in new
    ]
    for key, rows in new.items():
        if key not in old:
            found.append(Difference(rows.stage.title, "the whole stage", "added"))
        elif parts := _parts(_stage_facts(old[key]), _stage_facts(rows)):
            found.append(Difference(rows.stage.title, "the stage", "changed", parts))
    return found


def _item_differences(
    before: Sequence[StageRows], after: Sequence[StageRows]
) -> list[Difference]:
    old = {row.item.key: (rows, row) for rows in before for row in rows.items}
    new = {row.item.key: (rows, row) for rows in after for row in rows.items}
    found = [
        Difference(rows.stage.title, row.item.prompt, "removed")
        for key, (rows, row) in old.items()
        if key not in new
    ]
    for key, (rows, row) in new.items():
        if key not in old:
            found.append(Difference(rows.stage.title, row.item.prompt, "added"))
            continue
        held, one = old[key]
        parts = _parts(
            {"stage": held.stage.key} | _item_facts(one),
            {"stage": rows.stage.key} | _item_facts(row),
        )
        if parts:
            found.append(
                Difference(rows.stage.title, row.item.prompt, "changed", parts)
            )
    return [*found, *_moved(old, new)]


def _moved(
    old: Mapping[str, tuple[StageRows, ItemRow]],
    new: Mapping[str, tuple[StageRows, ItemRow]],
) -> list[Difference]:
    """Items that both versions have, in another order within their stage."""
    found = []
    stages = {rows.stage.key: rows.stage.title for rows, _ in new.values()}
    for key, title in stages.items():
        now = [k for k, (rows, _) in new.items() if rows.stage.key == key and k in old]
        was = [k for k, (rows, _) in old.items() if rows.stage.key == key and k in new]
        if now != was and set(now) == set(was):
            found.append(Difference(title, "the order of its items", "changed"))
    return found
