"""The report's sections, each made from the year's facts alone.

A section is plain values: sentences, a table and pictures. The PDF and XLSX writers
print what they are given and compute nothing. To add a section, write a function
``YearFacts -> Section`` and put it into :data:`SECTIONS`.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

from quality.report.types import YearFacts
from wimprog.lib.units import format_number

MONTH_LETTERS = ("J", "F", "M", "A", "M", "J", "J", "A", "S", "O", "N", "D")
NO_DATA = "no data"

Cell = str | int | float | dt.date | None


@dataclass(frozen=True)
class ReportTable:
    """Headings and rows; ``numeric`` are the columns to be set to the right."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numeric: frozenset[int] = frozenset()
    digits: tuple[tuple[int, int], ...] = ()

    def shown(self, column: int, cell: Cell) -> str:
        """A cell as it is printed."""
        if cell is None:
            return NO_DATA
        if isinstance(cell, dt.date):
            return f"{cell.day} {cell:%b %Y}"
        if isinstance(cell, float):
            return format_number(cell, dict(self.digits).get(column, 1))
        if isinstance(cell, int):
            return format_number(cell, 0)
        return cell


@dataclass(frozen=True)
class Section:
    """One section of the report."""

    key: str
    title: str
    paragraphs: tuple[str, ...]
    tables: tuple[ReportTable, ...] = ()
    pictures: tuple[str, ...] = ()


def wilson(successes: int, n: int, level: float = 0.95) -> tuple[float, float] | None:
    """Wilson's score interval of a share (Wilson 1927, JASA 22, 209–212)."""
    if n == 0:
        return None
    z = NormalDist().inv_cdf((1 + level) / 2)
    share = successes / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * (share * (1 - share) / n + z * z / (4 * n * n)) ** 0.5
    return middle - half, middle + half


def _percent(part: int, whole: int) -> float | None:
    return 100.0 * part / whole if whole else None


def summary(facts: YearFacts) -> Section:
    """The year in a page."""
    expected = sum(lane.expected_days for lane in facts.lanes)
    recorded = sum(lane.recorded_days for lane in facts.lanes)
    accepted = sum(lane.accepted_days for lane in facts.lanes)
    set_aside = sum(lane.set_aside_days for lane in facts.lanes)
    vehicles = sum(lane.n_vehicles for lane in facts.lanes)
    as_left = [row for row in facts.calibrations if row.stage == "as left"]
    met = sum(row.verdict == "meets" for row in as_left)
    open_days = recorded - accepted - set_aside
    sentences = [
        f"{facts.agency}, {facts.scope}, {facts.first_on} to {facts.last_on}: "
        f"{len(facts.lanes)} lanes at {facts.n_sites} sites recorded "
        f"{format_number(vehicles, 0)} vehicles."
    ]
    if expected:
        low, high = wilson(accepted, expected) or (0.0, 0.0)
        sentences.append(
            f"Of {format_number(expected, 0)} lane-days on which a lane was there to "
            f"record, {format_number(recorded, 0)} hold records and "
            f"{format_number(accepted, 0)} were accepted "
            f"({format_number(100 * accepted / expected, 1)} %; 95 % interval "
            f"{format_number(100 * low, 1)} to {format_number(100 * high, 1)} %, which "
            "treats days as independent and is therefore the narrowest it can be). "
            f"{format_number(set_aside, 0)} days were set aside and "
            f"{format_number(open_days, 0)} have not been judged."
        )
    else:
        sentences.append("No lane was there to record in this period: no data.")
    if as_left:
        sentences.append(
            f"{len(as_left)} calibrations left a verdict; {met} left their lane within "
            "its class."
        )
    else:
        sentences.append("No calibration was finished in this period.")
    if facts.as_of <= facts.last_on:
        sentences.append(
            f"The year is not over: everything is counted up to {facts.last_on}."
        )
    return Section("summary", "The year in brief", tuple(sentences))


def completeness(facts: YearFacts) -> Section:
    """Availability and completeness of each lane."""
    rows = []
    for lane in facts.lanes:
        rows.append(
            (
                lane.name,
                ", ".join(lane.technologies) or "none recorded",
                lane.expected_days,
                lane.recorded_days,
                _percent(lane.hours_seen, 24 * lane.expected_days),
                lane.accepted_days,
                lane.set_aside_days,
                lane.undecided_days,
                _percent(lane.accepted_days, lane.expected_days),
                lane.n_vehicles,
            )
        )
    months = tuple(
        (lane.name, *[None if m is None else 100.0 * m for m in lane.months])
        for lane in facts.lanes
    )
    return Section(
        "completeness",
        "Availability and completeness",
        (
            "Availability is the share of hours of the period that hold at least one "
            "vehicle or are reported as empty by the file; completeness is the share "
            "of days that were accepted. Both are of the days on which the lane was "
            "open. A night hour without a truck counts against availability of a "
            "quiet lane.",
        ),
        (
            ReportTable(
                "Days by lane",
                (
                    "Lane", "Technology", "Days expected", "Days recorded",
                    "Hours available, %", "Accepted", "Set aside", "Not judged",
                    "Complete, %", "Vehicles",
                ),
                tuple(rows),
                frozenset(range(2, 10)),
            ),
            ReportTable(
                "Accepted share of each month, %",
                ("Lane", *MONTH_LETTERS),
                months,
                frozenset(range(1, 13)),
                tuple((i, 0) for i in range(1, 13)),
            ),
        ),
        ("months",),
    )  # fmt: skip


def set_aside(facts: YearFacts) -> Section:
    """Days set aside, by reason and one by one."""
    by_reason: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for row in facts.set_aside:
        by_reason[row.reason][0] += row.n_days
        by_reason[row.reason][1] += 1
    total = sum(row.n_days for row in facts.set_aside)
    text = (
        f"{format_number(total, 0)} lane-days were set aside by "
        f"{len(facts.set_aside)} decisions. They are kept and count in no figure of "
        "traffic or weight."
        if facts.set_aside
        else "No day of this period was set aside."
    )
    return Section(
        "set-aside",
        "Days set aside, and why",
        (text,),
        (
            ReportTable(
                "By reason",
                ("Reason", "Lane-days", "Decisions"),
                tuple(
                    (reason, days, n)
                    for reason, (days, n) in sorted(
                        by_reason.items(), key=lambda item: -item[1][0]
                    )
                ),
                frozenset({1, 2}),
            ),
            ReportTable(
                "Each decision",
                ("Lane", "From", "To", "Days", "Reason", "By", "On"),
                tuple(
                    (r.lane, r.from_on, r.to_on, r.n_days, r.reason, r.decided_by,
                     r.decided_on)
                    for r in facts.set_aside
                ),
                frozenset({3}),
            ),
        ),
    )  # fmt: skip


def calibrations(facts: YearFacts) -> Section:
    """Calibrations and what they proved."""
    calibrated = {row.lane for row in facts.calibrations}
    missing = [lane.name for lane in facts.lanes if lane.name not in calibrated]
    paragraphs = [
        "Error of gross weight as a percentage of the static weight: mean with its "
        "95 % interval by Student's t (for the trucks used), and standard deviation. "
        "The verdict is that of the named standard and class on all its items that "
        "were measured; the rule of each is in the last section."
    ]
    if missing:
        paragraphs.append(
            f"{len(missing)} of {len(facts.lanes)} lanes were not calibrated in this "
            f"period (the program asks for it every "
            f"{facts.calibration_interval_months} months): {', '.join(missing)}."
        )
    return Section(
        "calibrations",
        "Calibrations",
        tuple(paragraphs),
        (
            ReportTable(
                "Sessions",
                (
                    "Lane", "Date", "Purpose", "Stage", "n", "Mean, %", "Low, %",
                    "High, %", "Sd, %", "Class", "Verdict", "Factor before",
                    "Factor after",
                ),
                tuple(
                    (
                        r.lane, r.held_on, r.purpose, r.stage, r.n_runs, r.mean_pct,
                        r.low_pct, r.high_pct, r.sd_pct, r.wanted_class, r.verdict,
                        r.factor_before, r.factor_after,
                    )
                    for r in facts.calibrations
                ),
                frozenset({4, 5, 6, 7, 8, 11, 12}),
                ((5, 2), (6, 2), (7, 2), (8, 2), (11, 4), (12, 4)),
            ),
        ),
        ("calibrations",),
    )  # fmt: skip


def drift(facts: YearFacts) -> Section:
    """Drift of the traffic's steering axles at the end of the period."""
    return Section(
        "drift",
        "Drift since the last calibration",
        (
            "Change of the weekly mean steering axle of class 9 vehicles between the "
            "weeks just after the last calibration and the latest weeks, with a 95 % "
            "interval that rests on the spread from week to week and on the length of "
            f"the reference. Watched from {facts.watch_drift_pct:g} %, acted on from "
            f"{facts.act_drift_pct:g} %. A change of the truck mix can move it too.",
        ),
        (
            ReportTable(
                f"At {facts.last_on}",
                ("Lane", "Since", "Change, %", "Low, %", "High, %", "Weeks",
                 "Class 9 trucks", "Why not"),
                tuple(
                    (r.lane, r.since, r.change_pct, r.low_pct, r.high_pct, r.n_weeks,
                     r.n_trucks, r.why_not if r.change_pct is None else "")
                    for r in facts.drifts
                ),
                frozenset(range(2, 7)),
            ),
        ),
        ("steering",),
    )  # fmt: skip


def electrical(facts: YearFacts) -> Section:
    """Electrical health."""
    return Section(
        "electrical",
        "Electrical tests",
        (
            f"{facts.n_tests} tests on {facts.n_sensors_tested} sensors; "
            f"{facts.n_sensors_live} sensors are in the road today. "
            f"{len(facts.electrical)} readings missed a limit that the agency entered.",
        ),
        (
            ReportTable(
                "Readings outside their limits",
                ("Lane", "Sensor", "Date", "Quantity", "Value", "Limit", "Limit from"),
                tuple(
                    (r.lane, r.sensor, r.tested_on, r.quantity, r.value, r.limit,
                     r.source)
                    for r in facts.electrical
                ),
                frozenset({4}),
                ((4, 2),),
            ),
        ),
    )  # fmt: skip


def upkeep(facts: YearFacts) -> Section:
    """Visits, and sensors that came and went."""
    failed = sum(row.what.startswith("failed") for row in facts.changes)
    return Section(
        "upkeep",
        "Visits and sensors",
        (
            f"{len(facts.visits)} visits. {failed} sensors failed, "
            f"{sum(r.what == 'installed' for r in facts.changes)} were installed.",
        ),
        (
            ReportTable(
                "Sensors that came and went",
                ("Date", "Lane", "What", "Sensor", "Technology"),
                tuple((r.on, r.lane, r.what, r.sensor, r.technology)
                      for r in facts.changes),
            ),
            ReportTable(
                "Visits",
                ("Date", "Site", "Purpose", "People", "Findings"),
                tuple((r.on, r.site_code, r.purpose, r.people, r.findings)
                      for r in facts.visits),
            ),
        ),
    )  # fmt: skip


def files(facts: YearFacts) -> Section:
    """Record files."""
    total = facts.files
    share = _percent(total.n_refused, total.n_read)
    return Section(
        "files",
        "Record files",
        (
            f"{total.n_files} files hold days of this period: "
            f"{format_number(total.n_read, 0)} lines read, "
            f"{format_number(total.n_kept, 0)} kept, "
            f"{format_number(total.n_refused, 0)} refused"
            + ("." if share is None else f" ({format_number(share, 2)} %)."),
        ),
    )


def methods(facts: YearFacts) -> Section:
    """How each figure was found."""
    return Section(
        "methods",
        "Methods and limits",
        (
            "A day is accepted or set aside by the analyst; days that nobody has "
            "judged are counted apart and are in no figure of accepted data.",
            "Relative error of a truck run: 100 (recorded − static) / static. ASTM "
            "E1318-09: at most 5 % of the errors of each item outside its tolerance "
            "(tolerances of Types I and II as cited in the Traffic Monitoring Guide "
            "2022, appendix D; Type III not checked against the document). COST 323 "
            "(1999): the estimated share within the class limits must reach the "
            "required confidence for the number and conditions of the runs.",
            "Drift: weekly means of the class 9 steering axle; the method, its "
            "published check values and its false-alarm rate are in the developers' "
            "guide and the program's tests.",
            "Intervals of shares are Wilson's (1927).",
        ),
    )


SECTIONS: tuple[Callable[[YearFacts], Section], ...] = (
    summary,
    completeness,
    set_aside,
    calibrations,
    drift,
    electrical,
    upkeep,
    files,
    methods,
)


def all_sections(
    facts: YearFacts, extra: Sequence[Section] = ()
) -> tuple[Section, ...]:
    """Every section in order; ``extra`` ones stand before the methods."""
    made = [make(facts) for make in SECTIONS]
    return (*made[:-1], *extra, made[-1])


def plain(section: Section) -> dict[str, Any]:
    """A section as JSON-ready text for the page setter."""
    return {
        "key": section.key,
        "title": section.title,
        "paragraphs": list(section.paragraphs),
        "tables": [
            {
                "title": table.title,
                "headings": list(table.headings),
                "numeric": sorted(table.numeric),
                "rows": [
                    [table.shown(i, cell) for i, cell in enumerate(row)]
                    for row in table.rows
                ],
            }
            for table in section.tables
        ],
        "pictures": list(section.pictures),
    }
