"""The blank field sheet: all items with their limits, and room to write."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from installs import cautions
from installs.calc.types.records import ItemKind
from installs.models import InstallationRecord
from installs.papers.parts import GOVERNS, head_of, plan_parts
from installs.selectors import record_page
from installs.selectors.records import ItemView, StageView
from sites.models import Program
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.units import UnitSystem

TEMPLATE = Path(__file__).with_name("field_sheet.typ")
TRIANGLE = ("into the lane", "along the edge", "diagonal")


def field_sheet_pdf(record: InstallationRecord, *, program: Program) -> bytes:
    """The sheet as a tagged PDF, in the program's units."""
    system = UnitSystem(program.unit_system)
    page = record_page(record)
    plan, pictures = plan_parts(record.plan, system)
    prompts = {
        one.spec.key: one.spec.prompt for view in page.stages for one in view.items
    }
    data = {
        "title": f"Field sheet: {record.position} in {record.lane}",
        "agency": program.name,
        "paper": paper_size(program.unit_system),
        "sheet_id": f"record {record.pk}, {record.template}",
        "made": "Type it in afterwards, stage by stage, under the record’s number",
        "head": head_of(record, program),
        "governs": GOVERNS,
        "stages": [_stage(view, prompts) for view in page.stages],
        **plan,
    }
    return set_pdf(TEMPLATE, data, pictures)


def _stage(view: StageView, prompts: dict[str, str]) -> dict[str, Any]:
    return {
        "number": view.stage.number,
        "title": view.stage.title,
        "purpose": view.stage.purpose,
        "cautions": list(cautions.of_keys(view.stage.cautions)),
        "roles": list(view.stage.sign_roles),
        "items": [_item(one, prompts) for one in view.items],
    }


def _item(one: ItemView, prompts: dict[str, str]) -> dict[str, Any]:
    spec = one.spec
    if spec.kind is ItemKind.TRIANGLE:
        labels = list(TRIANGLE)
    else:
        labels = [str(n) for n in range(1, one.n_boxes + 1)] if one.n_boxes > 1 else []
    only_if = ""
    if spec.only_if_key:
        asked = prompts.get(spec.only_if_key, spec.only_if_key)
        only_if = f"Only if “{asked}” was answered “{spec.only_if_answer}”."
    return {
        "number": one.item.number,
        "prompt": spec.prompt,
        "required": spec.required,
        "limit": one.limit_words,
        "source": one.limit_source_words,
        "only_if": only_if,
        "boxes": one.n_boxes,
        "labels": labels,
        "unit": one.unit_symbol,
        "choices": list(one.choices),
        "photo": spec.kind is ItemKind.PHOTO,
        "instrument": spec.kind is ItemKind.READING,
        "batch": spec.kind is ItemKind.BATCH,
    }
