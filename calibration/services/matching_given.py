"""What a person gave for matching, read once, and what was corrected since.

Plain values that go to the page and come back with its form, sealed by the view.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from calibration.calc.matching_types import ControllerRecord
from calibration.services.controller_sheet import KeptRecord

AS_MATCHED, ANOTHER, LEFT_OUT, PIN = "", "another", "out", "record:"
"""What may be chosen for a pass; a record's key follows ``PIN``."""


@dataclass(frozen=True)
class MatchGiven:
    """Records and passes of one matching, with corrections.

    Attributes
    ----------
    records
        Records with as many axles as one of the vehicles.
    name
        What the sheet is called.
    n_rows, n_without_axles, n_copies
        Rows of the sheet, and those passed over.
    passes_text
        The list of passes as typed.
    stage
        As found or as left.
    pavement_temp
        Text and unit, where one temperature is given for all; empty else.
    pinned
        Record chosen for a pass: {key of pass: key of record}.
    forbidden
        Pairs that were ruled out.
    left_out
        Keys of passes that were left out.
    """

    records: tuple[KeptRecord, ...]
    name: str
    n_rows: int
    n_without_axles: int
    n_copies: int
    passes_text: str
    stage: str
    pavement_temp: tuple[str, str] | None = None
    pinned: dict[str, str] = field(default_factory=dict)
    forbidden: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def is_corrected(self) -> bool:
        """Did anybody correct the matches?"""
        return bool(self.pinned or self.forbidden or self.left_out)

    def corrected(self, choices: dict[str, str], matched: dict[str, str]) -> MatchGiven:
        """With what was chosen for single passes.

        Parameters
        ----------
        choices
            Choice by key of pass: one of the constants above, or ``PIN`` and a key.
        matched
            Record that each pass is matched with at present.
        """
        pinned, forbidden = dict(self.pinned), set(self.forbidden)
        left_out = set(self.left_out)
        for key, choice in choices.items():
            if choice == LEFT_OUT:
                left_out.add(key)
                pinned.pop(key, None)
            elif choice == ANOTHER and key in matched:
                forbidden.add((key, matched[key]))
                pinned.pop(key, None)
            elif choice.startswith(PIN):
                record = choice.removeprefix(PIN)
                pinned = {k: r for k, r in pinned.items() if r != record}
                pinned[key] = record
                forbidden.discard((key, record))
        return replace(
            self,
            pinned=pinned,
            forbidden=tuple(sorted(forbidden)),
            left_out=tuple(sorted(left_out)),
        )

    def as_plain(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "records": [_record_out(one) for one in self.records],
            "name": self.name,
            "n": [self.n_rows, self.n_without_axles, self.n_copies],
            "passes": self.passes_text,
            "stage": self.stage,
            "temp": self.pavement_temp,
            "pinned": self.pinned,
            "forbidden": self.forbidden,
            "left_out": self.left_out,
        }

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> MatchGiven:
        """From :meth:`as_plain`."""
        n_rows, n_without, n_copies = plain["n"]
        temp = plain["temp"]
        return cls(
            records=tuple(_record_in(one) for one in plain["records"]),
            name=plain["name"],
            n_rows=n_rows,
            n_without_axles=n_without,
            n_copies=n_copies,
            passes_text=plain["passes"],
            stage=plain["stage"],
            pavement_temp=(temp[0], temp[1]) if temp else None,
            pinned=dict(plain["pinned"]),
            forbidden=_pairs(plain["forbidden"]),
            left_out=tuple(plain["left_out"]),
        )


def _pairs(values: Iterable[Iterable[str]]) -> tuple[tuple[str, str], ...]:
    found = []
    for one in values:
        driven, record = one
        found.append((driven, record))
    return tuple(found)


def _record_out(one: KeptRecord) -> list[Any]:
    record = one.record
    return [
        record.key,
        record.time.isoformat(),
        record.axle_weights_kg,
        record.axle_spacings_m,
        record.speed_kmh,
        record.vehicle_class,
        one.line,
        one.left_kg,
        one.right_kg,
        one.typed,
    ]


def _record_in(values: list[Any]) -> KeptRecord:
    key, time, weights, spacings, speed, found_class, line, left, right, typed = values
    return KeptRecord(
        record=ControllerRecord(
            key=key,
            time=dt.datetime.fromisoformat(time),
            axle_weights_kg=tuple(weights),
            axle_spacings_m=tuple(spacings),
            speed_kmh=speed,
            vehicle_class=found_class,
        ),
        line=line,
        left_kg=tuple(left),
        right_kg=tuple(right),
        typed=typed,
    )
