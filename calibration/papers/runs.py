"""The raw runs of a stage as they were typed, for the record."""

from __future__ import annotations

from typing import Any

from calibration.models import TruckRun
from calibration.papers.words import as_typed, clock_at, number, table
from calibration.selectors.record import RecordStage, SessionRecord
from calibration.selectors.tabulated import RunRow, run_rows
from wimprog.lib.units import UnitSystem


def runs_parts(stage: RecordStage, record: SessionRecord) -> dict[str, Any]:
    """Runs with their gross weight errors; what else each recorded; those set aside."""
    rows = run_rows(stage.judged.runs, stage.judged.judged.errors)
    system = record.system
    return {
        "runs": table(
            [
                "Run",
                "Time",
                "Vehicle",
                "Speed",
                "By radar or other",
                "Pavement",
                "Place",
                "Axle weights",
                "Gross, %",
                "Steering, %",
                "Groups, %",
            ],
            [_row(one, record) for one in rows],
            widths=[
                "auto",
                "auto",
                "1.1fr",
                "auto",
                "auto",
                "auto",
                "auto",
                "2.4fr",
                "auto",
                "auto",
                "1.3fr",
            ],
        ),
        "more": table(
            ["Run", "Spacings", "Left wheels", "Right wheels", "Controller’s record"],
            [_more(one.run, system) for one in rows if _has_more(one.run)],
            widths=["auto", "1.3fr", "1.3fr", "1.3fr", "1.2fr"],
        ),
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
                f"{part.removeprefix('axles ')}: {number(error)}"
                for part, error in row.groups
            ),
        ]
    )
    return [
        str(run.number),
        clock_at(run.run_at, record.zone, form="%m-%d %H:%M"),
        run.weighing.vehicle.name,
        *typed,
        run.lane_position,
        as_typed(run, "axle_weights_kg", system),
        *errors,
    ]


def _blank(words: str) -> str:
    return "–" if words == "no data" else words


def _has_more(run: TruckRun) -> bool:
    return bool(
        run.axle_spacings_m or run.left_wheel_weights_kg or run.controller_record
    )


def _more(run: TruckRun, system: UnitSystem) -> list[str]:
    return [
        str(run.number),
        *(
            _blank(as_typed(run, name, system))
            for name in (
                "axle_spacings_m",
                "left_wheel_weights_kg",
                "right_wheel_weights_kg",
            )
        ),
        run.controller_record or "–",
    ]
