"""What a reader found: how many records, what was refused and why, which lanes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np

from quality.records.schema import LaneKey, TimeResolution
from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import format_number

MAX_COMPLAINTS = 1000
MAX_LANES = 10_000
MAX_HOUR_MARKS = 2_000_000
REFUSED_SHARE_LIMIT = 0.05
REFUSED_FLOOR = 50


class Layout(StrEnum):
    """Layouts that a file can be recognised as."""

    W_FIXED = "TMG 2016 truck weight record, fixed width"
    W_PIPE = "TMG 2016 truck weight record, pipe-delimited"
    W_2001 = "TMG 2001 truck weight record, metric"
    STATION = "TMG station record"
    HEADED_CSV = "CSV with headed columns"
    EMPTY = "empty"
    BINARY = "not text"
    UNKNOWN = "not recognised"


class Reason(StrEnum):
    """Why a line was refused; the first that applies."""

    NOT_ASCII = "characters outside ASCII"
    RECORD_TYPE = "record type"
    TOO_SHORT = "line too short"
    TOO_LONG = "line too long"
    COLUMNS = "number of columns"
    NOT_A_NUMBER = "not a number"
    STATION = "state, station, direction or lane"
    DATE = "date"
    HOUR = "hour"
    VEHICLE_CLASS = "vehicle class"
    AXLE_COUNT = "axle count"
    AXLES_MISSING = "fewer axles than counted"
    AXLES_EXTRA = "more axles than counted"
    GROSS_WEIGHT = "axles against gross weight"


class HourMark(NamedTuple):
    """A line that speaks of an hour instead of a vehicle.

    ``missing`` is True for ``m`` (the hour's data are missing) and False for ``d``
    (the hour was recorded, so without records no truck passed).
    """

    lane: LaneKey
    hour: np.datetime64
    missing: bool


def too_many_lanes() -> UnreadableInput:
    """The refusal of a file of more lanes than a program could have."""
    return UnreadableInput(
        f"The file names more than {MAX_LANES:,} different lanes; that is not how "
        "traffic records look. Check its layout."
    )


@dataclass
class ReadReport:
    """A running account of one file, complete when the reader is exhausted.

    ``sha256`` is that of the text itself, so that a file is known again whether it
    comes plain, as gzip or as zip; it is empty until the end has been read.
    """

    source_name: str = ""
    layout: Layout = Layout.UNKNOWN
    resolution: TimeResolution = TimeResolution.HOUR
    n_lines: int = 0
    n_kept: int = 0
    n_refused: int = 0
    n_hour_mark_lines: int = 0
    n_bytes: int = 0
    sha256: str = ""
    first_at: np.datetime64 | None = None
    last_at: np.datetime64 | None = None
    lanes: dict[LaneKey, int] = field(default_factory=dict)
    hour_marks: set[HourMark] = field(default_factory=set)
    complaints: list[Complaint] = field(default_factory=list)
    refused_by_reason: Counter[Reason] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)

    @property
    def n_read(self) -> int:
        """Lines meant as vehicles: those kept and those refused."""
        return self.n_kept + self.n_refused

    @property
    def share_refused(self) -> float:
        """Refused lines as a share of the lines meant as vehicles (0 if none)."""
        return self.n_refused / self.n_read if self.n_read else 0.0

    def acceptable(
        self, limit: float = REFUSED_SHARE_LIMIT, floor: int = REFUSED_FLOOR
    ) -> bool:
        """Whether the file may be taken in.

        Refused when nothing at all could be kept, or when more than ``floor`` lines
        AND more than the share ``limit`` of them were refused. So a short file with a
        few faults is taken with its sound records, and a long file of another kind is
        not. Both limits are ours (common practice, no source).
        """
        if self.n_kept == 0 and not self.hour_marks:
            return False
        return self.n_refused <= floor or self.share_refused <= limit

    def refuse(self, reason: Reason, complaint: Complaint | None) -> None:
        """Count one refused line; keep its complaint while there is room."""
        self.n_refused += 1
        self.refused_by_reason[reason] += 1
        if complaint is not None and len(self.complaints) < MAX_COMPLAINTS:
            self.complaints.append(complaint)

    def absorb(self, part: ReadReport) -> None:
        """Add what was found in a part of the file, the parts in file order."""
        self.n_lines += part.n_lines
        self.n_kept += part.n_kept
        self.n_refused += part.n_refused
        self.refused_by_reason.update(part.refused_by_reason)
        self.complaints += part.complaints[: MAX_COMPLAINTS - len(self.complaints)]
        for lane, n in part.lanes.items():
            self.saw(lane, n)
        if part.first_at is not None and part.last_at is not None:
            self.spans(part.first_at, part.last_at)

    def wants_complaint(self) -> bool:
        """Whether there is room to explain another refused line."""
        return len(self.complaints) < MAX_COMPLAINTS

    def saw(self, lane: LaneKey, n: int) -> None:
        """Count ``n`` records of a lane."""
        self.lanes[lane] = self.lanes.get(lane, 0) + n
        if len(self.lanes) > MAX_LANES:
            raise too_many_lanes()

    def spans(self, first: np.datetime64, last: np.datetime64) -> None:
        """Widen the period to take in ``first`` to ``last``."""
        self.first_at = first if self.first_at is None else min(self.first_at, first)
        self.last_at = last if self.last_at is None else max(self.last_at, last)

    def mark(self, hour_mark: HourMark) -> None:
        """Keep an hour mark."""
        self.n_hour_mark_lines += 1
        self.hour_marks.add(hour_mark)
        if len(self.hour_marks) > MAX_HOUR_MARKS:
            raise UnreadableInput(
                f"The file marks more than {MAX_HOUR_MARKS:,} hours. Split it by year."
            )

    def note(self, remark: str) -> None:
        """Keep a remark once."""
        if remark not in self.notes:
            self.notes.append(remark)

    def sentence(self) -> str:
        """The account in a sentence, for a screen or a terminal."""
        parts = [f"{self.n_kept:,} of {self.n_read:,} records kept"]
        if self.n_refused:
            worst = ", ".join(
                f"{reason.value} {count:,}"
                for reason, count in self.refused_by_reason.most_common(3)
            )
            share = format_number(100 * self.share_refused, 1)
            parts.append(f"{self.n_refused:,} refused ({share} %: {worst})")
        if self.n_hour_mark_lines:
            parts.append(f"{self.n_hour_mark_lines:,} hour marks")
        if self.first_at is not None and self.last_at is not None:
            first, last = self.first_at.astype("M8[D]"), self.last_at.astype("M8[D]")
            parts.append(f"{first} to {last}")
        return "; ".join(parts) + "."

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "source_name": self.source_name,
            "layout": self.layout.value,
            "time_resolution": self.resolution.value,
            "sha256": self.sha256,
            "bytes": self.n_bytes,
            "lines": self.n_lines,
            "read": self.n_read,
            "kept": self.n_kept,
            "refused": self.n_refused,
            "refused_by_reason": {
                reason.value: n for reason, n in self.refused_by_reason.most_common()
            },
            "hour_marks": self.n_hour_mark_lines,
            "first_at": None if self.first_at is None else str(self.first_at),
            "last_at": None if self.last_at is None else str(self.last_at),
            "lanes": [
                {**lane._asdict(), "records": n} for lane, n in self.lanes.items()
            ],
            "complaints": [complaint.as_dict() for complaint in self.complaints],
            "notes": list(self.notes),
        }
