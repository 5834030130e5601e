"""The raw runs of a stage as they were typed, for the record."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calibration.models import TruckRun
from calibration.papers.words import NBSP, as_typed, clock_at, number, table
from calibration.selectors.record import RecordStage, SessionRecord
from calibration.selectors.tabulated import RunRow, run_rows
from wimprog.lib.units import UnitSystem

JOINER = "\u2060"
MORE = {
    "left_wheel_weights_kg": "Left wheels",
    "right_wheel_weights_kg": "Right wheels",
    "controller_record": "Controller’s record",
}


def runs_parts(stage: RecordStage, record: SessionRecord) -> dict[str, Any]:
    """Runs with their gross weight errors; what else each recorded; those set aside."""
    rows = run_rows(stage.judged.runs, stage.judged.judged.errors)
    return {
        "runs": table(
            [
                "Run",
                "Time",
                "Vehicle",
                "Speed",
                "Ref. speed",
                "Pavement",
                "Place",
                "Axle weights; spacings",
                "Gross, %",
                "Steering, %",
                "Groups, %",
            ],
            [_row(one, record) for one in rows],
            widths=[
                "auto",
                "auto",
                "1.6fr",
                "auto",
                "auto",
                "auto",
                "auto",
                "2.6fr",
                "auto",
                "auto",
                "1.2fr",
            ],
            numbers=(0, 8, 9),
        ),
        "more": _more(stage.judged.runs, record.system),
        "aside": [
            f"Run {one.run.number} is set aside: {one.run.exclusion_reason}"
            for one in rows
            if one.run.excluded
        ],
    }


def _row(row: RunRow, record: SessionRecord) -> list[str]:
    run, system = row.run, record.system
    typed = [
        _blank(as_typed(run, name, system))
        for name in ("speed_kmh", "reference_speed_kmh", "pavement_temp_c")
    ]
    errors = (
        ["aside", "", ""]
        if run.excluded
        else [
            number(row.gross_pct),
            number(row.steering_pct),
            "; ".join(
                _unbroken(f"{part.removeprefix('axles ')}: {number(error)}")
                for part, error in row.groups
            ),
        ]
    )
    return [
        str(run.number),
        _time(run, record),
        run.weighing.vehicle.name,
        *typed,
        run.lane_position,
        as_typed(run, "axle_weights_kg", system)
        + (f"\n{as_typed(run, 'axle_spacings_m', system)}" * bool(run.axle_spacings_m)),
        *errors,
    ]


def _time(run: TruckRun, record: SessionRecord) -> str:
    """The time; with its day where that is not the session's."""
    here = clock_at(run.run_at, record.zone)
    return here.removeprefix(f"{record.session.held_on.isoformat()} ")


def _unbroken(words: str) -> str:
    """Words that no line breaks."""
    return words.replace(" ", NBSP).replace("–", f"{JOINER}–{JOINER}")


def _blank(words: str) -> str:
    return "–" if words == "no data" else words


def _more(runs: Sequence[TruckRun], system: UnitSystem) -> dict[str, Any]:
    """What else was recorded: only the columns that any run has."""
    names = [name for name in MORE if any(getattr(run, name) for run in runs)]
    rows = []
    for run in runs:
        if any(getattr(run, name) for name in names):
            told = [
                run.controller_record or "–"
                if name == "controller_record"
                else _blank(as_typed(run, name, system))
                for name in names
            ]
            rows.append([str(run.number), *told])
    return table(
        ["Run", *(MORE[name] for name in names)],
        rows,
        widths=["auto", *["1fr"] * len(names)],
        numbers=(0,),
    )
