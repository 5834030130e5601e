"""What a history band shows, as plain values; its sentence and its table.

Pure: no Django. The drawing is in :mod:`wimprog.lib.band`, which re-exports all this.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Literal

from wimprog.lib.units import format_number

EndKind = Literal["failed", "removed", "in service"]


@dataclass(frozen=True)
class SensorBar:
    """One sensor's life in a position of the lane.

    ``row`` is the position's place in the band, 0 at the top. ``end`` is None while the
    sensor works; ``end_kind`` is then "in service".
    """

    label: str
    technology: str
    start: dt.date
    end: dt.date | None = None
    end_kind: EndKind = "in service"
    row: int = 0


@dataclass(frozen=True)
class TestTick:
    """An electrical test; ``ok`` is None when its limits are not known."""

    __test__ = False  # not a test case

    day: dt.date
    ok: bool | None


@dataclass(frozen=True)
class CalibrationMark:
    """A calibration: mean gross weight error as found, with its interval, in %."""

    day: dt.date
    bias_pct: float | None
    low_pct: float | None = None
    high_pct: float | None = None
    n: int | None = None


@dataclass(frozen=True)
class DriftPoint:
    """Change of the weights seen in traffic, in %; None where there were too few."""

    day: dt.date
    change_pct: float | None


@dataclass(frozen=True)
class MonthShare:
    """Share (0 to 1) of a month's records that was accepted; None is no data."""

    month_start: dt.date
    accepted_share: float | None


@dataclass(frozen=True)
class SurvivalPoint:
    """Chance (0 to 1) that what works today still works on ``day``."""

    day: dt.date
    probability: float


@dataclass(frozen=True)
class DueFlag:
    """The next thing that falls due, in a word or two ("calibration")."""

    day: dt.date
    label: str


@dataclass(frozen=True)
class Band:
    """Everything that one history band shows.

    Attributes
    ----------
    today
        The day the band is drawn for; facts lie left of it, the forecast right.
    start, end
        First and last day of the time axis.
    tolerance_pct
        Half width of the tolerance, in %, drawn as the dashed limits.
    drift_label
        What the drift line is, for the table and the page-size drawing.
    chance_pct, chance_low_pct, chance_high_pct
        Chance of failure within ``chance_years``, in %, with its interval.
    chance_basis
        What the chance rests on ("41 lives, 23 failures").
    """

    today: dt.date
    start: dt.date
    end: dt.date
    tolerance_pct: float
    sensors: tuple[SensorBar, ...] = ()
    tests: tuple[TestTick, ...] = ()
    calibrations: tuple[CalibrationMark, ...] = ()
    drift: tuple[DriftPoint, ...] = ()
    months: tuple[MonthShare, ...] = ()
    survival: tuple[SurvivalPoint, ...] = ()
    due: tuple[DueFlag, ...] = ()
    chance_pct: float | None = None
    chance_low_pct: float | None = None
    chance_high_pct: float | None = None
    chance_years: int = 2
    chance_basis: str = ""
    drift_label: str = "class 9 steering axle, change since calibration"

    def __post_init__(self) -> None:
        if not self.start < self.end or not self.start <= self.today <= self.end:
            raise ValueError(
                "a band needs start < end with today between them; got "
                f"{self.start}, {self.today}, {self.end}"
            )
        if not self.tolerance_pct > 0:
            raise ValueError("a band's tolerance_pct must be greater than zero")

    @property
    def is_empty(self) -> bool:
        """Is there nothing at all to draw?"""
        return not (
            self.sensors
            or self.tests
            or self.calibrations
            or self.drift
            or self.months
            or self.survival
            or self.due
        )


def signed(value: float, digits: int = 1) -> str:
    """A number with its sign always shown: "+0.4", "−4.1", "0.0"."""
    text = format_number(value, digits)
    return f"+{text}" if round(value, digits) > 0 else text


def day_text(day: dt.date) -> str:
    """A date for people: "3 May 2031"."""
    return f"{day.day} {day:%b %Y}"


def _span(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return ""
    return f"{signed(low)} to {signed(high)} %"


def chance_text(band: Band) -> str:
    """The chance of failure in words, with its interval and basis; "" if unknown."""
    if band.chance_pct is None:
        return ""
    unit = "year" if band.chance_years == 1 else "years"
    text = (
        f"chance of failure within {band.chance_years} {unit} "
        f"{format_number(band.chance_pct, 0)} %"
    )
    within = []
    if band.chance_low_pct is not None and band.chance_high_pct is not None:
        within.append(
            f"{format_number(band.chance_low_pct, 0)} to "
            f"{format_number(band.chance_high_pct, 0)} %"
        )
    if band.chance_basis:
        within.append(band.chance_basis)
    return f"{text} ({'; '.join(within)})" if within else text


def _sensor_words(band: Band) -> str:
    now = [s for s in band.sensors if s.end is None]
    failed = sum(s.end_kind == "failed" for s in band.sensors)
    removed = sum(s.end_kind == "removed" for s in band.sensors)
    if now:
        first = min(s.start for s in now)
        names = ", ".join(dict.fromkeys(s.technology for s in now))
        text = f"{len(now)} in service ({names}), the oldest since {day_text(first)}"
    else:
        text = "none in service"
    before = []
    if failed:
        before.append(f"{failed} failed")
    if removed:
        before.append(f"{removed} removed")
    return f"Sensors: {text}" + (f"; before: {', '.join(before)}" if before else "")


def _calibration_words(band: Band) -> str:
    last = max(band.calibrations, key=lambda c: c.day)
    text = f"Last calibrated {day_text(last.day)}"
    if last.bias_pct is None:
        return f"{text}, bias not known"
    text += f", gross weight {signed(last.bias_pct)} %"
    span = _span(last.low_pct, last.high_pct)
    n = f"n {last.n}" if last.n is not None else ""
    inside = ", ".join(part for part in (span, n) if part)
    return f"{text} ({inside})" if inside else text


def band_summary(band: Band) -> str:
    """The band in a few short sentences: its text alternative."""
    if band.is_empty:
        return "No data: nothing is recorded for this lane yet."
    parts = []
    if band.sensors:
        parts.append(_sensor_words(band))
    if band.tests:
        last = max(band.tests, key=lambda t: t.day)
        word = {True: "within limits", False: "outside limits", None: "no limits known"}
        parts.append(f"Last electrical test {day_text(last.day)}: {word[last.ok]}")
    if band.calibrations:
        parts.append(_calibration_words(band))
    known = [p for p in band.drift if p.change_pct is not None]
    if known:
        newest = max(known, key=lambda p: p.day)
        assert newest.change_pct is not None  # noqa: S101 (for the type checker)
        parts.append(
            f"Traffic reads {signed(newest.change_pct)} % on {day_text(newest.day)} "
            f"(tolerance ±{format_number(band.tolerance_pct, 1)} %)"
        )
    shares = [m.accepted_share for m in band.months if m.accepted_share is not None]
    if shares:
        missing = len(band.months) - len(shares)
        text = (
            f"{len(shares)} months with data, on average "
            f"{format_number(100 * sum(shares) / len(shares), 0)} % accepted"
        )
        parts.append(text + (f", {missing} without data" if missing else ""))
    elif band.months:
        parts.append("No month with data")
    ahead = [text for text in (chance_text(band),) if text]
    ahead += [f"{f.label} due {day_text(f.day)}" for f in band.due]
    if ahead:
        words = "; ".join(ahead)
        parts.append(words[0].upper() + words[1:])
    return ". ".join(parts) + "."


def _row(
    what: str, first: dt.date, last: dt.date | None, value: str, note: str = ""
) -> dict[str, Any]:
    return {"what": what, "from": first, "until": last, "value": value, "note": note}


def band_rows(band: Band) -> list[dict[str, Any]]:
    """The table behind the band: what, from, until, value, note; oldest first."""
    rows = [
        _row(
            "sensor",
            s.start,
            s.end,
            f"{s.technology} {s.label}".strip(),
            s.end_kind if s.end is not None else "in service",
        )
        for s in band.sensors
    ]
    word = {True: "within limits", False: "outside limits", None: "limits not known"}
    rows += [_row("electrical test", t.day, t.day, word[t.ok]) for t in band.tests]
    for c in band.calibrations:
        value = "no data" if c.bias_pct is None else f"{signed(c.bias_pct)} %"
        notes = [_span(c.low_pct, c.high_pct), "" if c.n is None else f"n {c.n}"]
        note = ", ".join(part for part in notes if part)
        rows.append(_row("calibration, gross weight bias", c.day, c.day, value, note))
    for p in band.drift:
        value = "no data" if p.change_pct is None else f"{signed(p.change_pct)} %"
        rows.append(_row(band.drift_label, p.day, p.day, value))
    for m in band.months:
        share = m.accepted_share
        value = "no data" if share is None else f"{format_number(100 * share, 0)} %"
        until = next_month(m.month_start) - dt.timedelta(days=1)
        rows.append(_row("accepted share of the month", m.month_start, until, value))
    for s in band.survival:
        value = f"{format_number(100 * s.probability, 0)} %"
        rows.append(_row("chance of still working", s.day, s.day, value, "forecast"))
    rows += [_row("due", f.day, f.day, f.label) for f in band.due]
    return sorted(rows, key=lambda row: (row["from"], row["what"]))


def next_month(day: dt.date) -> dt.date:
    """The first day of the month after ``day``."""
    return dt.date(day.year + day.month // 12, day.month % 12 + 1, 1)
