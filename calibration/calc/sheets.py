"""The two sheets of a calibration: static weighings, and the runs over the lane.

Each measured column says its unit at the end of its heading.

Static sheet, one row for each weighing: ``vehicle, class, scale_certificate,
weighed_at, axle_1_lb, axle_2_lb …, spacing_1_ft …``. Runs sheet, one row for each pass:
``run, vehicle, time, speed_mph, reference_speed_mph, pavement_temp_f, lane_position,
axle_1_lb …, spacing_1_ft …, exclusion_reason``. Weights in lb, kg, kip or t; lengths in
ft, m, mm, cm or in; speeds in mph or kmh; temperatures in f or c. A run with an
exclusion reason is set aside.

A sheet is taken whole or not at all; every complaint is given at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from calibration.calc.run_checks import (
    is_unit_slip,
    reference_for,
    run_complaints,
    vehicle_complaints,
)
from calibration.calc.sheet_table import (
    LENGTHS,
    MASSES,
    SPEEDS,
    TEMPERATURES,
    Cells,
    Measure,
    Row,
    Table,
    check_columns,
    read_table,
)
from calibration.calc.types import LanePosition, MeasuredRun, ReferenceVehicle
from wimprog.lib.errors import Complaint

_FAMILIES = {"axle": MASSES, "spacing": LENGTHS}
_RUN_MEASURES = {
    "speed": SPEEDS,
    "reference_speed": SPEEDS,
    "pavement_temp": TEMPERATURES,
}
_POSITIONS = {position.value: position for position in LanePosition} | {
    "center": LanePosition.CENTRE,
    "": None,
}
_YES = {"yes", "y", "true", "1", "x"}
_NO = {"no", "n", "false", "0", ""}


def read_static_sheet(
    content: bytes, *, name: str = "The static sheet"
) -> tuple[ReferenceVehicle, ...]:
    """Read a sheet of static weighings.

    Parameters
    ----------
    content
        The file's bytes.
    name
        What to call it in messages.

    Returns
    -------
    tuple of ReferenceVehicle
        In the sheet's order, in kg and m, with what was typed.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With every complaint.
    """
    table = read_table(content, name=name)
    measures = check_columns(
        table,
        required=("vehicle", "weighed_at"),
        optional=("class", "scale_certificate", "note"),
        single={},
        families=_FAMILIES,
    )
    _need_axles(table, measures)
    table.refuse_if_faulty()
    vehicles: list[ReferenceVehicle] = []
    seen: dict[tuple[str, object], int] = {}
    for row in table.rows:
        n_before = len(table.complaints)
        vehicle = _vehicle(Cells(table, row), measures)
        if len(table.complaints) == n_before:
            table.complaints += [
                replace(complaint, row=row.line)
                for complaint in vehicle_complaints(vehicle)
            ]
        key = (vehicle.name, vehicle.weighed_at)
        if key in seen:
            table.complaints.append(
                Complaint(
                    f"The vehicle's weighing is already on line {seen[key]}.",
                    row=row.line,
                    field="vehicle",
                    value=vehicle.name,
                    remedy="Remove one, or correct its name or time.",
                )
            )
        seen.setdefault(key, row.line)
        vehicles.append(vehicle)
    table.refuse_if_faulty()
    return tuple(vehicles)


def read_runs_sheet(
    content: bytes,
    vehicles: Sequence[ReferenceVehicle],
    *,
    name: str = "The runs sheet",
    units_are_right: bool = False,
) -> tuple[MeasuredRun, ...]:
    """Read a sheet of runs and check it against the static weighings.

    Parameters
    ----------
    content
        The file's bytes.
    vehicles
        Static weighings that the runs are held against.
    name
        What to call it in messages.
    units_are_right
        True to take weights whose ratio to the static ones looks like a slip between
        pounds and kilograms.

    Returns
    -------
    tuple of MeasuredRun
        In the sheet's order, in kg, m, km/h and °C, with what was typed.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With every complaint.
    """
    table = read_table(content, name=name)
    measures = check_columns(
        table,
        required=("run", "vehicle", "time"),
        optional=("lane_position", "excluded", "exclusion_reason", "note"),
        single=_RUN_MEASURES,
        families=_FAMILIES,
    )
    _need_axles(table, measures)
    table.refuse_if_faulty()
    runs: list[tuple[Row, MeasuredRun]] = []
    for row in table.rows:
        n_before = len(table.complaints)
        run = _run(Cells(table, row), measures)
        if len(table.complaints) == n_before:
            table.complaints += [
                replace(complaint, row=row.line)
                for complaint in run_complaints(run, vehicles)
            ]
        runs.append((row, run))
    _complain_of_copies(table, runs)
    if not units_are_right and not table.complaints:
        _question_units(table, runs, vehicles, measures["axle"].unit)
    table.refuse_if_faulty()
    return tuple(run for _, run in runs)


def _need_axles(table: Table, measures: dict[str, Measure]) -> None:
    if "axle" not in measures:
        table.complaints.append(
            Complaint(
                "There are no axle weight columns.",
                row=1,
                field="axle_1_lb",
                expected="columns such as axle_1_lb, axle_2_lb or axle_1_kg",
                remedy="Add a column for each axle, with the unit in its heading.",
            )
        )


def _typed(cells: Cells, measures: dict[str, Measure], names: dict[str, str]) -> dict:
    found = {
        field: cells.typed(measures[stem])
        for stem, field in names.items()
        if stem in measures
    }
    return {field: typed for field, typed in found.items() if typed[0]}


def _vehicle(cells: Cells, measures: dict[str, Measure]) -> ReferenceVehicle:
    class_text = cells.text("class")
    vehicle_class = int(class_text) if class_text.isdecimal() else None
    if class_text and (vehicle_class is None or not 1 <= vehicle_class <= 13):
        cells.complain(
            "This is not a vehicle class.",
            column="class",
            expected="an FHWA class, 1 to 13",
            remedy="Correct it, or leave the cell empty.",
        )
    return ReferenceVehicle(
        name=cells.required_text("vehicle"),
        vehicle_class=vehicle_class,
        axle_weights_kg=cells.numbers(measures["axle"]),
        axle_spacings_m=cells.numbers(measures.get("spacing")),
        weighed_at=cells.time("weighed_at", needs_clock=False),
        scale_certificate=cells.text("scale_certificate"),
        typed=_typed(
            cells,
            measures,
            {"axle": "axle_weights_kg", "spacing": "axle_spacings_m"},
        ),
    )


def _run(cells: Cells, measures: dict[str, Measure]) -> MeasuredRun:
    position = cells.text("lane_position").casefold()
    if position not in _POSITIONS:
        cells.complain(
            "This is not a position in the lane.",
            column="lane_position",
            expected="left, centre or right",
            remedy="Correct it, or leave the cell empty.",
        )
    reason = cells.text("exclusion_reason")
    excluded = cells.text("excluded").casefold()
    if excluded not in _YES | _NO or (reason and excluded in _NO - {""}):
        cells.complain(
            "It is not clear whether the run is set aside.",
            column="excluded",
            expected="yes with a reason, or no without one",
            remedy="Correct the cell or the exclusion reason.",
        )
    return MeasuredRun(
        run=cells.required_text("run"),
        vehicle=cells.required_text("vehicle"),
        time=cells.time("time", needs_clock=True),
        axle_weights_kg=cells.numbers(measures["axle"]),
        axle_spacings_m=cells.numbers(measures.get("spacing")) or None,
        speed_kmh=cells.number(measures.get("speed"), low=1.0, high=200.0),
        reference_speed_kmh=cells.number(
            measures.get("reference_speed"), low=1.0, high=200.0
        ),
        pavement_temp_c=cells.number(
            measures.get("pavement_temp"), low=-50.0, high=90.0
        ),
        lane_position=_POSITIONS.get(position),
        excluded=bool(reason) or excluded in _YES,
        exclusion_reason=reason,
        typed=_typed(
            cells,
            measures,
            {
                "axle": "axle_weights_kg",
                "spacing": "axle_spacings_m",
                "speed": "speed_kmh",
                "reference_speed": "reference_speed_kmh",
                "pavement_temp": "pavement_temp_c",
            },
        ),
    )


def _complain_of_copies(table: Table, runs: list[tuple[Row, MeasuredRun]]) -> None:
    labels: dict[str, int] = {}
    passes: dict[tuple[str, object], int] = {}
    for row, run in runs:
        same_pass = (run.vehicle, run.time)
        if run.run in labels:
            message, first = "The run's label is already on line", labels[run.run]
        elif run.time is not None and same_pass in passes:
            message = "The same vehicle at the same time is already on line"
            first = passes[same_pass]
        else:
            labels[run.run] = passes[same_pass] = row.line
            continue
        table.complaints.append(
            Complaint(
                f"{message} {first}.",
                row=row.line,
                field="run",
                value=run.run,
                expected="each pass once, with a label of its own",
                remedy="Remove the copy, or correct its label or time.",
            )
        )


def _question_units(
    table: Table,
    runs: list[tuple[Row, MeasuredRun]],
    vehicles: Sequence[ReferenceVehicle],
    unit: str,
) -> None:
    """Complain where weights differ from the static ones as pounds from kilograms."""
    slipped = []
    n_compared = 0
    for row, run in runs:
        vehicle = None if run.excluded else reference_for(run, vehicles)
        if vehicle is None:
            continue
        n_compared += 1
        ratio = run.gvw_kg / vehicle.gvw_kg
        if is_unit_slip(ratio):
            slipped.append((row, ratio))
    if 2 * len(slipped) > n_compared:
        first, ratio = slipped[0]
        table.complaints.append(_slip(None, ratio, unit, first.line, len(slipped)))
    else:
        table.complaints += [
            _slip(row.line, ratio, unit, row.line, 1) for row, ratio in slipped
        ]


def _slip(
    row: int | None, ratio: float, unit: str, first_line: int, n: int
) -> Complaint:
    which = f"{n} runs, the first on line {first_line}, weigh" if n > 1 else "It weighs"
    return Complaint(
        f"{which} {ratio:.2f} times the static weight: that is the ratio of "
        "pounds to kilograms, so one of the two sheets seems to be headed in the "
        "wrong unit.",
        row=row if row is not None or n > 1 else first_line,
        field=f"axle_1_{unit}",
        value=f"ratio {ratio:.2f}",
        expected="a ratio near 1",
        remedy="Correct the unit in the headings (_lb or _kg) of the sheet that is "
        "wrong; if both are right, say that the units are right.",
    )
