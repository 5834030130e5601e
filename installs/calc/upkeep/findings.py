"""One finding of the program that asks for work, before it is on the work list."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from installs.calc.upkeep.types import WorkSource

#: The mark, among an item's evidence, that the finding was not there at the last look.
GONE = "no longer seen"


@dataclass(frozen=True)
class Evidence:
    """Something that a finding rests on: words, and the page that shows it.

    ``page`` is a URL's name and its arguments; empty for words alone.
    """

    text: str
    page: tuple[str | int, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """As an item keeps it."""
        return {"text": self.text, "page": list(self.page)}


@dataclass(frozen=True)
class WorkFinding:
    """One finding of the program.

    Attributes
    ----------
    key
        Names the finding from one look to the next ("silent:12").
    evidence_key
        What it rests on now; another evidence key is new evidence.
    again_after_days
        Days after the work was done from which the finding, still there on the same
        evidence, counts as new evidence. None: never.
    """

    key: str
    evidence_key: str
    source: WorkSource
    wim_site_id: int
    reason: str
    since_on: dt.date
    cause: str = ""
    lane_id: int | None = None
    installation_id: int | None = None
    part: str = ""
    due_on: dt.date | None = None
    evidence: tuple[Evidence, ...] = ()
    lane_is_down: bool = False
    spoils_data: bool = False
    hours: float | None = None
    again_after_days: int | None = None
