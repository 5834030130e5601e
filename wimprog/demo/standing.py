"""Whether a database holds the demo, somebody's program, or nothing yet.

The demo signs its program's settings in their history, so that it knows its own work
again even after somebody renamed the agency, and never writes into another's database.
"""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.db import connection

from sites.models import Program, Site

VERSION = 3
"""Of the demo's making: a demo of another version is built anew."""
WHY = "demo scenario"


class Standing(StrEnum):
    """What the demo finds in its database."""

    EMPTY = "empty"
    UNFINISHED = "unfinished"
    FINISHED = "finished"
    FOREIGN = "foreign"


def facts_read(path: Path) -> dict[str, Any]:
    """What the last finished build wrote of itself; empty where there is none."""
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return facts if isinstance(facts, dict) else {}


def facts_write(path: Path, facts: dict[str, Any]) -> None:
    """Write the mark of a finished demo, in one step."""
    aside = path.with_suffix(".part")
    aside.write_text(json.dumps(facts, indent=2), encoding="utf-8")
    aside.replace(path)


def is_of_demo() -> bool:
    """Whether the program in the database was made by the demo."""
    first = Program.history.order_by("history_date", "history_id").first()
    return first is not None and first.history_change_reason == WHY


def standing(facts: dict[str, Any], *, size: str, seed: int) -> Standing:
    """What the database holds; reads only, and works before the first migration."""
    if Program._meta.db_table not in connection.introspection.table_names():
        return Standing.EMPTY
    if not Program.objects.exists():
        somebodys = Site.objects.exists() or User.objects.exists()
        return Standing.FOREIGN if somebodys else Standing.EMPTY
    if not is_of_demo():
        return Standing.FOREIGN
    is_current = (facts.get("version"), facts.get("size"), facts.get("seed")) == (
        VERSION,
        size,
        seed,
    )
    return Standing.FINISHED if is_current else Standing.UNFINISHED
