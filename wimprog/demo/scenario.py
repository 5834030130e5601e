"""The demo's plan: sites, lanes, sensor lives, sessions and faults, from one seed.

Pure: no Django, no clock. What happens to a lane follows from its causes: sensors wear
out, moisture enters and insulation falls until the lead gives way, sensitivity drifts
with age and pavement temperature, crews calibrate by what their trucks show, and now
and then somebody makes a mistake.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

import numpy as np

from wimprog.demo.traits import (
    BY_TECHNOLOGY,
    KG_PER_KIP,
    LOOP,
    TEST_TRUCKS,
    WEIGHING,
    SensorTraits,
)

SEED = 20310514
YEARS = 12
LANES_OF_SITES = (
    2,
    4,
    2,
    3,
    2,
    4,
    2,
    4,
    3,
    2,
    4,
    2,
    4,
    2,
    3,
    4,
    2,
    4,
    2,
    3,
    4,
    2,
    4,
    2,
)
FAIL_MOHM = 0.5
DIRECTIONS = {"E": 3, "W": 7, "N": 1, "S": 5}
DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class SensorLife:
    """One sensor in a position from a day until a day, and what it goes through."""

    traits: SensorTraits
    position: str
    serial: str
    installed_on: dt.date
    ended_on: dt.date | None
    end_reason: str
    failure_mode: str
    wet_on: dt.date | None
    decades_per_year: float
    offset: float
    rate: float
    bond_from: dt.date | None = None

    def sensitivity(self, days: np.ndarray) -> np.ndarray:
        """Relative sensitivity on each day [days since 1970], before temperature."""
        age = (days - _number(self.installed_on)) / 365.25
        out = self.offset * (1 + self.rate * age)
        if self.bond_from is not None:
            since = np.maximum(days - _number(self.bond_from), 0) / 365.25
            out = out * (1 - 0.11 * since)
        if self.wet_on is not None:
            since = np.maximum(days - _number(self.wet_on), 0) / 365.25
            out = out * (1 - 0.012 * since)
        return np.asarray(out, dtype=float)


@dataclass(frozen=True)
class RunPlan:
    """One pass of a test truck."""

    truck: int
    at: dt.datetime
    speed_kmh: float
    reference_speed_kmh: float
    temp_c: float
    lane_position: str
    weights_kg: tuple[float, ...]
    spacings_m: tuple[float, ...]
    exclusion_reason: str = ""


@dataclass(frozen=True)
class SessionPlan:
    """A calibration: runs as found, the factor set from them, runs as left."""

    held_on: dt.date
    purpose: str
    factor_before: float
    factor_after: float
    static_kg: tuple[tuple[float, ...], ...]
    as_found: tuple[RunPlan, ...]
    as_left: tuple[RunPlan, ...]
    conditions: str


@dataclass(frozen=True)
class Fault:
    """Days on which a lane recorded nothing, or recorded wrongly."""

    from_on: dt.date
    to_on: dt.date
    kind: str  # power, communications, sensor, erratic

    @property
    def is_silent(self) -> bool:
        """Whether nothing was recorded at all."""
        return self.kind != "erratic"


@dataclass
class LanePlan:
    """One lane with everything that happens to it."""

    direction: int
    number: int
    traits: SensorTraits
    trucks_a_day: float
    opened_on: dt.date
    seed: int
    sensors: list[SensorLife] = field(default_factory=list)
    sessions: list[SessionPlan] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    factors: list[tuple[dt.date, float]] = field(default_factory=list)

    def gain(self, days: np.ndarray, temps_c: np.ndarray) -> np.ndarray:
        """Recorded over true weight on each day [days since 1970]."""
        total = np.zeros(days.size)
        live = np.zeros(days.size)
        for one in self.sensors:
            if one.traits is LOOP:
                continue
            end = _number(one.ended_on) if one.ended_on else days.max() + 1
            there = (days >= _number(one.installed_on)) & (days < end)
            total[there] += one.sensitivity(days[there])
            live[there] += 1
        sense = np.where(live > 0, total / np.maximum(live, 1), 1.0)
        starts = np.array([_number(day) for day, _ in self.factors])
        values = np.array([factor for _, factor in self.factors])
        place = np.clip(np.searchsorted(starts, days, side="right") - 1, 0, None)
        heat = 1 + self.traits.temp_pct_per_c / 100 * (temps_c - 12.0)
        return np.asarray(values[place] * sense * heat, dtype=float)


@dataclass
class SitePlan:
    """One site."""

    code: str
    station_id: str
    name: str
    route: str
    location: str
    directions: str
    latitude: float
    longitude: float
    pavement: str
    pavement_year: int
    controller: str
    power: str
    communications: str
    state: str
    in_service_on: dt.date
    suspended_on: dt.date | None
    retired_on: dt.date | None
    lanes: list[LanePlan]
    visits_on: list[dt.date]

    @property
    def last_on(self) -> dt.date | None:
        """The last day of service, where there is one."""
        return self.retired_on or self.suspended_on


def _number(day: dt.date) -> int:
    return (day - dt.date(1970, 1, 1)).days


def pavement_temp_c(days: np.ndarray) -> np.ndarray:
    """Daily pavement temperature in the invented valley [°C]."""
    season = 12.0 - 14.0 * np.cos(2 * math.pi * (days % 365.25 - 15) / 365.25)
    weather = 3.0 * np.sin(days * 2.399) + 2.0 * np.sin(days * 0.7)
    return np.asarray(season + weather, dtype=float)


def _lives(
    lane: LanePlan,
    traits: SensorTraits,
    position: str,
    until: dt.date,
    works_on: dt.date | None,
    rng: np.random.Generator,
    serial: list[int],
    retired: bool,
) -> list[SensorLife]:
    """Successive sensors of one position, each ending by its own cause."""
    found = []
    start = lane.opened_on
    while start <= until:
        wear = 365.25 * traits.life_scale_years * rng.weibull(traits.life_shape)
        wet = 365.25 * rng.exponential(traits.wet_mean_years)
        decades = rng.uniform(0.9, 2.6)
        from_good = math.log10(1500.0 / FAIL_MOHM)
        drowned = wet + 365.25 * from_good / decades
        end = start + dt.timedelta(days=max(int(min(wear, drowned)), 30))
        reason, mode = "failed", "element"
        if drowned < wear:
            mode = str(rng.choice(["splice", "lead"]))
        elif traits.technology in ("bending plate", "load cell"):
            mode = str(rng.choice(["plate or anchor", "element"]))
        else:
            mode = str(rng.choice(["grout or bond", "element", "pavement", "surge"]))
        if works_on is not None and start < works_on < end:
            end, reason, mode = works_on, "pavement works", ""
        ended: dt.date | None = end
        if end > until:
            ended, reason, mode = None, "", ""
            if retired:
                ended, reason = until, "site retired"
        serial[0] += 1
        found.append(
            SensorLife(
                traits=traits,
                position=position,
                serial=f"{serial[0]:05d}",
                installed_on=start,
                ended_on=ended,
                end_reason=reason,
                failure_mode=mode,
                wet_on=start + dt.timedelta(days=int(wet))
                if start + dt.timedelta(days=int(wet)) < (ended or until)
                else None,
                decades_per_year=decades,
                offset=math.exp(rng.normal(0, 0.05)),
                rate=rng.normal(traits.drift_pct, traits.drift_sd_pct) / 100,
            )
        )
        if ended is None or reason == "site retired":
            break
        start = ended + dt.timedelta(
            days=int(rng.integers(12, 75)) if reason == "failed" else 20
        )
    return found


def _down(lane: LanePlan, until: dt.date) -> list[tuple[dt.date, dt.date]]:
    """Periods without a full set of weighing sensors."""
    gaps = []
    for one in lane.sensors:
        if one.traits is LOOP or one.ended_on is None:
            continue
        later = [
            other.installed_on
            for other in lane.sensors
            if other.position == one.position and other.installed_on > one.installed_on
        ]
        gaps.append((one.ended_on, min(later, default=until + DAY)))
    return sorted(gaps)


def _session_days(
    lane: LanePlan, until: dt.date, rng: np.random.Generator
) -> list[tuple[dt.date, str]]:
    gaps = _down(lane, until)
    replaced = [
        one.installed_on
        for one in lane.sensors
        if one.traits is not LOOP and one.installed_on > lane.opened_on
    ]
    wanted = [(lane.opened_on + dt.timedelta(days=24), "after installation")]
    day = lane.opened_on
    while True:
        day += dt.timedelta(days=int(rng.uniform(320, 450)))
        if day >= until - dt.timedelta(days=20):
            break
        wanted.append((day, "routine"))
    for on in replaced:
        wanted.append(
            (on + dt.timedelta(days=int(rng.integers(8, 30))), "after repair")
        )
    days: list[tuple[dt.date, str]] = []
    for on, purpose in sorted(wanted):
        if on > until - dt.timedelta(days=5):
            continue
        if any(first <= on < last for first, last in gaps):
            continue
        if days and (on - days[-1][0]).days < 60:
            if purpose == "after repair":
                days[-1] = (on, purpose)
            continue
        days.append((on, purpose))
    return days


def _runs(
    lane: LanePlan,
    day: dt.date,
    gain: float,
    static: list[np.ndarray],
    n_each: int,
    first_hour: float,
    rng: np.random.Generator,
    truck_bias: np.ndarray,
) -> tuple[RunPlan, ...]:
    made = []
    noise = lane.traits.axle_noise
    for number in range(2 * n_each):
        truck = number % 2
        hours = first_hour + number * 0.21
        at = dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hours)
        body = 1 + rng.normal(0, noise * 0.45)
        axle = 1 + rng.normal(0, noise * 0.85, static[truck].size)
        weights = static[truck] * gain * (1 + truck_bias[truck]) * body * axle
        speed = float(rng.choice([72.0, 88.0, 100.0]) + rng.normal(0, 3))
        spacings = np.array(TEST_TRUCKS[truck][3]) * (1 + rng.normal(0, 0.002))
        reason = ""
        if rng.random() < 0.025:
            weights = weights * rng.uniform(0.6, 0.8)
            reason = str(
                rng.choice(
                    ["right wheels ran off the sensor", "truck braked on the array"]
                )
            )
        made.append(
            RunPlan(
                truck=truck,
                at=at,
                speed_kmh=speed,
                reference_speed_kmh=round(speed + rng.normal(0, 0.5), 1),
                temp_c=float(
                    pavement_temp_c(np.array([_number(day)]))[0] + number * 0.4
                ),
                lane_position=str(rng.choice(["left", "centre", "centre", "right"])),
                weights_kg=tuple(float(w) for w in weights),
                spacings_m=tuple(round(float(s), 3) for s in spacings),
                exclusion_reason=reason,
            )
        )
    return tuple(made)


def _ratio(runs: tuple[RunPlan, ...], static: list[np.ndarray]) -> float:
    used = [run for run in runs if not run.exclusion_reason]
    return sum(sum(run.weights_kg) for run in used) / sum(
        float(static[run.truck].sum()) for run in used
    )


def _calibrate(lane: LanePlan, until: dt.date, rng: np.random.Generator) -> None:
    """Hold the lane's sessions in order; each sets the factor from its own runs."""
    lane.factors = [(lane.opened_on, 1.0)]
    for held_on, purpose in _session_days(lane, until, rng):
        number = np.array([_number(held_on)])
        static = [
            np.round(np.array(truck[2]) * (1 + rng.normal(0, 0.01)) * 1000 / 20) * 20
            * KG_PER_KIP / 1000
            for truck in TEST_TRUCKS
        ]  # fmt: skip
        gain = float(lane.gain(number, pavement_temp_c(number))[0])
        bias = rng.normal(0, 0.006, 2)
        found = _runs(lane, held_on, gain, static, 8, 8.2, rng, bias)
        before = lane.factors[-1][1]
        ratio = _ratio(found, static)
        after = round(before / ratio, 4)
        if rng.random() < 0.012:  # the factor typed the wrong way round
            after = round(before * ratio, 4)
        if abs(ratio - 1) < 0.008:  # within its noise: left alone
            after = before
        left = _runs(lane, held_on, gain * after / before, static, 6, 13.0, rng, bias)
        lane.sessions.append(
            SessionPlan(
                held_on=held_on,
                purpose=purpose,
                factor_before=before,
                factor_after=after,
                static_kg=tuple(tuple(float(w) for w in axles) for axles in static),
                as_found=found,
                as_left=left,
                conditions=str(rng.choice(["dry", "dry, light wind", "cloudy", "hot"])),
            )
        )
        lane.factors.append((held_on + DAY, after))


def _faults(lane: LanePlan, until: dt.date, rng: np.random.Generator) -> None:
    for first, last in _down(lane, until):
        if rng.random() < 0.65:
            lane.faults.append(Fault(first, last - DAY, "sensor"))
        else:
            lane.faults.append(Fault(first, last - DAY, "erratic"))
    years = max((until - lane.opened_on).days / 365.25, 0.1)
    for _ in range(rng.poisson(1.3 * years)):
        start = lane.opened_on + dt.timedelta(
            days=int(rng.uniform(0, max((until - lane.opened_on).days, 1)))
        )
        length = int(rng.choice([1, 2, 4, 9], p=[0.5, 0.25, 0.15, 0.1]))
        kind = str(rng.choice(["power", "communications"]))
        end = min(start + dt.timedelta(days=length - 1), until)
        lane.faults.append(Fault(start, end, kind))
    lane.faults.sort(key=lambda one: one.from_on)


def _lane(
    direction: int,
    number: int,
    traits: SensorTraits,
    opened_on: dt.date,
    until: dt.date,
    works_on: dt.date | None,
    seed: int,
    serial: list[int],
    retired: bool,
    busy: float,
    bond: bool,
) -> LanePlan:
    rng = np.random.default_rng(seed)
    trucks = busy * math.exp(rng.normal(0, 0.35)) * (1.0 if number == 1 else 0.45)
    lane = LanePlan(direction, number, traits, trucks, opened_on, seed)
    for place in (1, 2):
        name = f"{traits.position} {place}"
        lane.sensors += _lives(
            lane, traits, name, until, works_on, rng, serial, retired
        )
    lane.sensors += _lives(lane, LOOP, "loop 1", until, works_on, rng, serial, retired)
    if bond:
        since = until - dt.timedelta(days=int(rng.integers(130, 230)))
        lane.sensors = [
            _loosened(one, since) if one.ended_on is None and one.traits is not LOOP
            else one
            for one in lane.sensors
        ]  # fmt: skip
    _calibrate(lane, until, rng)
    _faults(lane, until, rng)
    return lane


def _loosened(one: SensorLife, since: dt.date) -> SensorLife:
    from dataclasses import replace

    return replace(one, bond_from=max(since, one.installed_on))


NAMES = (
    "Alder Ford", "Brackwater", "Cobble Flats", "Dunmere Junction", "Eastholt",
    "Fallow Bridge", "Gannet Pass", "Hollow Mill", "Ironbrook", "Juniper Bench",
    "Kestrel Gap", "Larkenfold", "Mossgate", "Nettle Creek", "Orrin Crossing",
    "Pinewater", "Quarry Road", "Redmarsh", "Sallow Plain", "Thornbeck Rise",
    "Upper Wick", "Vale Siding", "Whinmoor", "Yarrow Bend",
)  # fmt: skip
ROUTES = ("Route 2", "Route 9", "Route 44", "Route 61", "Valley Expressway")


def plan(as_of: dt.date, *, small: bool = False, seed: int = SEED) -> list[SitePlan]:
    """The whole invented program up to ``as_of``.

    Parameters
    ----------
    small
        Three sites with seven lanes and two and a half years, for tests.
    """
    rng = np.random.default_rng(seed)
    counts = (2, 3, 2) if small else LANES_OF_SITES
    years = 2.5 if small else YEARS
    serial = [10_000]
    sites = []
    for index, n_lanes in enumerate(counts):
        state = "in service"
        if not small and index == 20:
            state = "suspended"
        if not small and index == 23:
            state = "retired"
        share = 1.0 if index < 4 else float(rng.uniform(0.22, 1.0))
        opened = as_of - dt.timedelta(days=int(365.25 * years * share))
        if small:
            opened = as_of - dt.timedelta(days=int(365.25 * years) - 30 * index)
        until = as_of
        suspended = retired = None
        if state == "suspended":
            until = suspended = as_of - dt.timedelta(days=140)
        if state == "retired":
            until = retired = as_of - dt.timedelta(days=420)
        traits = WEIGHING[
            int(rng.choice([0, 1, 2, 3], p=[0.42, 0.33, 0.17, 0.08]))
            if not small
            else index
        ]
        works = None
        if rng.random() < 0.2 and not small:
            works = opened + dt.timedelta(days=int(rng.uniform(900, 2600)))
            works = works if works < until - dt.timedelta(days=200) else None
        axis = ("E", "W") if index % 3 else ("N", "S")
        busy = float(rng.choice([24.0, 38.0, 60.0], p=[0.3, 0.45, 0.25]))
        lanes = []
        for place in range(n_lanes):
            way = DIRECTIONS[axis[0] if place < math.ceil(n_lanes / 2) else axis[1]]
            number = place % math.ceil(n_lanes / 2) + 1
            lanes.append(
                _lane(
                    way, number, traits, opened, until, works,
                    seed + 101 * index + place, serial, state == "retired", busy,
                    bond=state == "in service" and rng.random() < 0.09,
                )
            )  # fmt: skip
        visits = _visits(opened, until, rng)
        sites.append(
            SitePlan(
                code=f"OV-{index + 1:03d}",
                station_id=f"{index + 1:06d}",
                name=NAMES[index],
                route=ROUTES[index % len(ROUTES)],
                location=f"km {int(rng.uniform(3, 180))}",
                directions="east and west" if axis[0] == "E" else "north and south",
                latitude=round(43.2 + 1.9 * _spread(index, 0.618), 4),
                longitude=round(-141.8 + 3.4 * _spread(index, 0.414), 4),
                pavement="concrete"
                if traits.technology == "bending plate"
                else "asphalt",
                pavement_year=opened.year - int(rng.integers(0, 6)),
                controller=f"cabinet controller {int(rng.integers(2, 5))}",
                power=str(rng.choice(["mains", "mains", "solar with battery"])),
                communications=str(rng.choice(["fibre", "cellular", "cellular"])),
                state=state,
                in_service_on=opened,
                suspended_on=suspended,
                retired_on=retired,
                lanes=lanes,
                visits_on=visits,
            )
        )
    _leave_some_silent(sites, as_of, small=small)
    return sites


def _spread(index: int, step: float) -> float:
    """Evenly scattered numbers between 0.06 and 0.94."""
    return 0.06 + 0.88 * ((0.35 + index * step) % 1.0)


def _visits(opened: dt.date, until: dt.date, rng: np.random.Generator) -> list[dt.date]:
    days = []
    day = opened + dt.timedelta(days=120)
    while day < until - dt.timedelta(days=3):
        days.append(day)
        day += dt.timedelta(days=int(rng.uniform(150, 215)))
    return days


def _leave_some_silent(sites: list[SitePlan], as_of: dt.date, *, small: bool) -> None:
    """A few faults still going on today, so that somebody has something to do."""
    for place in (1,) if small else (6, 13):
        for lane in sites[place].lanes[:1]:
            first = as_of - dt.timedelta(days=9)
            lane.faults.append(Fault(first, as_of, "communications"))


def technologies(sites: list[SitePlan]) -> list[SensorTraits]:
    """The technologies in use."""
    used = {
        one.traits.technology for s in sites for ln in s.lanes for one in ln.sensors
    }
    return [traits for word, traits in BY_TECHNOLOGY.items() if word in used]
