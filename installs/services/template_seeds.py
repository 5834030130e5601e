"""The usual stages of each technology, read from the files that ship with wimprog."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from installs.calc.types.records import TemplateState
from installs.models import StageTemplate, TemplateItem, TemplateStage
from wimprog.lib import clock
from wimprog.lib.models import save_with_reason


def seed_folder() -> Path:
    """Where the usual stages are written, one file a technology."""
    return Path(settings.BASE_DIR) / "fixtures" / "stage_templates"


def read_seeds() -> dict[str, dict[str, Any]]:
    """The usual stages by technology; a ``copy_of`` has the stages it points to."""
    seeds = {}
    for path in sorted(seed_folder().glob("*.json")):
        seed = json.loads(path.read_text(encoding="utf-8"))
        seeds[seed["technology"]] = seed
    for seed in seeds.values():
        if "copy_of" in seed:
            seed["stages"] = seeds[seed["copy_of"]]["stages"]
    return seeds


@transaction.atomic
def templates_seed(*, by: Any) -> list[StageTemplate]:
    """Put the usual stages in use for every technology that has none at all.

    Safe to repeat: a technology with a template of any version is left alone.
    """
    kept = set(
        StageTemplate.objects.select_for_update().values_list("technology", flat=True)
    )
    made = []
    for technology, seed in read_seeds().items():
        if technology not in kept:
            made.append(_make(seed, by))
    return made


def _make(seed: Mapping[str, Any], by: Any) -> StageTemplate:
    template = StageTemplate(
        technology=seed["technology"],
        note=seed["note"],
        state=TemplateState.IN_USE.value,
        in_use_at=clock.now(),
    )
    save_with_reason(template, by=by, why="the usual stages, to start from")
    for number, entry in enumerate(seed["stages"], start=1):
        facts = {name: value for name, value in entry.items() if name != "items"}
        stage = TemplateStage.objects.create(template=template, number=number, **facts)
        TemplateItem.objects.bulk_create(
            TemplateItem(stage=stage, number=place, **item)
            for place, item in enumerate(entry["items"], start=1)
        )
    return template
