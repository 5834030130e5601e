"""How often the checks of days find simulated faults, how late, and false alarms.

Run with: python -m tests.bench.measure_checks [lanes]

Prints the tables of quality/calc/MEASURED_CHECKS.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np

from quality.calc.checks import CHECKS, PAIR_CHECKS, LaneDays, propose
from quality.calc.clock_shift import clock_shift
from tests.quality.calc import lane_simulation as sim

START = 287
"""First day of a fault: 41 weeks in, a Monday."""
N_DAYS = START + 28
VOLUMES = (100, 300, 1000, 5000)
Fault = Callable[[np.random.Generator, LaneDays], LaneDays]
FAULTS: list[tuple[str, str, Fault]] = [
    ("all lost for 12 h of a day", "hours-missing", lambda r, d: _gap(d, 7, 12)),
    ("half the vehicles lost", "volume", lambda r, d: sim.lose(r, d, START, 0.5)),
    ("half the vehicles lost", "partial-loss",
     lambda r, d: sim.lose(r, d, START, 0.5)),
    ("30 % lost", "partial-loss", lambda r, d: sim.lose(r, d, START, 0.3)),
    ("20 % lost", "partial-loss", lambda r, d: sim.lose(r, d, START, 0.2)),
    ("40 % of class 9 as class 8", "class-mix",
     lambda r, d: sim.misclassify(r, d, START, 0.4)),
    ("20 % of class 9 as class 8", "class-mix",
     lambda r, d: sim.misclassify(r, d, START, 0.2)),
    ("speed 15 % high", "speed-shift", lambda r, d: sim.speed_error(d, START, 15, r)),
    ("speed 10 % high", "speed-shift", lambda r, d: sim.speed_error(d, START, 10, r)),
    ("speed frozen for 40 vehicles", "frozen",
     lambda r, d: sim.freeze_speed(d, START, 40)),
    ("clock 1 h ahead", "clock", lambda r, d: sim.shift_clock(d, START, 1)),
    ("clock 3 h ahead", "clock", lambda r, d: sim.shift_clock(d, START, 3)),
    ("clock 12 h ahead (AM, PM exchanged)", "clock",
     lambda r, d: sim.shift_clock(d, START, 12)),
    ("no AM and PM", "clock", lambda r, d: sim.no_am_pm(d, START)),
]  # fmt: skip


def _gap(days: LaneDays, hour: int, hours: int) -> LaneDays:
    hourly = days.hourly.copy()
    hourly[START, hour : hour + hours] = 0
    return sim.changed(days, hourly)


def _days_found(days: LaneDays, key: str) -> np.ndarray:
    check = next(one for one in CHECKS if one.key == key)
    found = check.run(days, check, check.default_limit)
    place = [int((one.date - days.date[0]).astype(int)) for one in found]
    return np.array(sorted(set(place)), dtype=int)


def faults(lanes: int) -> None:
    _tell("| fault | check | vehicles a day | first day | 7 days | 28 days | delay |")
    _tell("| --- | --- | --- | --- | --- | --- | --- |")
    healthy = {
        per_day: [
            sim.simulate(
                np.random.default_rng([per_day, lane]),
                sim.Traffic(per_day=per_day, n_days=N_DAYS),
            )
            for lane in range(lanes if per_day < 5000 else lanes // 4)
        ]
        for per_day in VOLUMES
    }
    for name, key, fault in FAULTS:
        for per_day, days in healthy.items():
            first = []
            for lane, one in enumerate(days):
                found = _days_found(fault(np.random.default_rng(lane), one), key)
                found = found[found >= START] - START
                first.append(found[0] if len(found) else 999)
            delay = np.array(first)
            seen = delay[delay < 28]
            late = f"{np.median(seen):.0f} d" if len(seen) else "—"
            shares = " | ".join(f"{np.mean(delay < k):.2f}" for k in (1, 7, 28))
            _tell(f"| {name} | {key} | {per_day:,} | {shares} | {late} |")


def false_alarms(lanes: int) -> None:
    """Two years of healthy lanes; the second is counted, with a season to learn."""
    _tell("| check | " + " | ".join(f"{n:,} a day" for n in VOLUMES[:3]) + " |")
    _tell("| --- | " + " | ".join("---" for _ in VOLUMES[:3]) + " |")
    counts: dict[str, list[str]] = {check.key: [] for check in CHECKS}
    for per_day in VOLUMES[:3]:
        total = dict.fromkeys(counts, 0)
        for lane in range(lanes):
            days = sim.simulate(
                np.random.default_rng([7, per_day, lane]),
                sim.Traffic(per_day=per_day, n_days=728),
            )
            for proposal in propose(days)[364:]:
                for key in {finding.key for finding in proposal.findings}:
                    total[key] += 1
        for key, n in total.items():
            counts[key].append(f"{n / (lanes * 364 / 365.25):.2f}")
    for key, row in counts.items():
        if any(float(value) for value in row) or not key.endswith("-share"):
            _tell(f"| {key} | " + " | ".join(row) + " |")


def swaps(lanes: int) -> None:
    _tell("| vehicles a day in the outer lane | found, a day | false, a day |")
    _tell("| --- | --- | --- |")
    (check,) = PAIR_CHECKS
    for per_day in VOLUMES[:3]:
        found = false = 0
        for lane in range(lanes):
            rng = np.random.default_rng([3, per_day, lane])
            traffic = sim.Traffic(per_day=per_day, n_days=112)
            a, b = sim.simulate(rng, traffic), sim.simulate(rng, traffic, passing=True)
            false += len(check.run(a, b, check, check.default_limit))
            days = check.run(*sim.exchange(a, b, 105), check, check.default_limit)
            found += sum(one.date >= a.date[105] for one in days)
        _tell(
            f"| {per_day:,} | {found / (7 * lanes):.3f} | {false / (84 * lanes):.5f} |"
        )


def weeks(lanes: int) -> None:
    """A whole file of 14 days whose clock is wrong by days, as on import."""
    _tell("| fault of a file of 14 days | vehicles a day | found | told right |")
    _tell("| --- | --- | --- | --- |")
    for hours in (0, 1, -6, 24, -48, 72):
        for per_day in VOLUMES[:3]:
            found = right = 0
            for lane in range(lanes):
                rng = np.random.default_rng([5, per_day, lane])
                days = sim.simulate(rng, sim.Traffic(per_day=per_day, n_days=70))
                usual = days.hourly[:56].reshape(8, 7, 24).mean(axis=0)
                late = np.roll(days.hourly[56:].reshape(-1), hours).reshape(-1, 24)
                shift = clock_shift(late, usual, days.date[56])
                if shift is not None and shift.is_found():
                    found += 1
                    right += shift.hours == hours
            told = f"{right / found:.2f}" if found else "—"
            name = f"clock {hours:+d} h" if hours else "none (false alarms)"
            _tell(f"| {name} | {per_day:,} | {found / lanes:.2f} | {told} |")


def _tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    lanes = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for table in (faults, false_alarms, swaps, weeks):
        table(lanes)
        _tell("")


if __name__ == "__main__":
    main()
