"""Which of the controller's vehicle records is which pass of a test vehicle.

A record can be a pass when it has the vehicle's axles at the vehicle's spacings and its
time fits after the clocks are set against each other. Among those the distance counts
time, spacings, the pattern of axle loads, gross weight and speed, each over a stated
difference; all passes are matched together so that their distances sum to the least
(assignment problem), one record for one pass, and a pass rather stays without a record
than take one beyond the limits.

The clocks: the offset at which most passes find a fitting record, then the median of
what was matched. Weights decide little on purpose: a lane that weighs wrongly must not
lose its runs.

A person has the last word: pinned pairs are kept, forbidden pairs are never made.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import optimize

from calibration.calc.matching_checks import (
    Pairs,
    check_matching,
    clock_notes,
    seconds_between,
)
from calibration.calc.matching_types import (
    DEFAULT_SETTINGS,
    Candidate,
    ControllerRecord,
    DrivenPass,
    Match,
    MatchResult,
    MatchSettings,
    ScorePart,
)
from calibration.calc.run_checks import is_unit_slip
from calibration.calc.types import FloatArray, ReferenceVehicle
from wimprog.lib.units import Kind, UnitSystem, format_number, format_si

LEFT_OUT = 1.0
"""Distance at which a pass stays without a record instead."""

N_ALTERNATIVES = 3
_IMPOSSIBLE = 1e6


def match_passes(
    passes: Sequence[DrivenPass],
    records: Sequence[ControllerRecord],
    vehicles: Mapping[str, ReferenceVehicle],
    *,
    pinned: Pairs = (),
    forbidden: Pairs = (),
    clock_offset_s: float | None = None,
    settings: MatchSettings = DEFAULT_SETTINGS,
    unit_system: UnitSystem = UnitSystem.SI,
) -> MatchResult:
    """Match every pass with its record.

    Parameters
    ----------
    passes
        Passes as noted at the roadside.
    records
        The controller's records of at least that time, any traffic among them.
    vehicles
        Static weighing of each test vehicle by name.
    pinned
        Pairs that a person made: kept whatever their distance.
    forbidden
        Pairs that a person ruled out.
    clock_offset_s
        Controller's clock less roadside clock [s], where a person knows it; None to
        find it.
    settings
        How far apart they may be.
    unit_system
        Units of what the distances are explained in.

    Returns
    -------
    MatchResult

    Raises
    ------
    wimprog.lib.errors.DomainError
        When keys are used twice, a pass names an unknown vehicle, or pinned pairs
        contradict each other or the forbidden ones.

    References
    ----------
    Assignment: scipy.optimize.linear_sum_assignment (Crouse 2016, IEEE Transactions on
    Aerospace and Electronic Systems 52).
    """
    check_matching(passes, records, vehicles, pinned, forbidden)
    board = _Board(
        tuple(passes),
        tuple(records),
        vehicles,
        dict(pinned),
        set(forbidden),
        settings,
        unit_system,
    )
    offset = clock_offset_s
    if offset is None:
        offset = board.find_offset()
    chosen = board.assign(offset)
    if clock_offset_s is None and chosen:
        offset = float(np.median([board.gap_s(p, r) for p, r in chosen.items()]))
        chosen = board.assign(offset)
    return board.result(chosen, offset)


@dataclass(frozen=True)
class _Board:
    """Passes against records; indices stand for keys."""

    passes: tuple[DrivenPass, ...]
    records: tuple[ControllerRecord, ...]
    vehicles: Mapping[str, ReferenceVehicle]
    pinned: dict[str, str]
    forbidden: set[tuple[str, str]]
    settings: MatchSettings
    unit_system: UnitSystem

    def gap_s(self, place: int, other: int) -> float:
        """Record's time less the pass's [s]."""
        return seconds_between(self.passes[place].time, self.records[other].time)

    def is_pattern(self, vehicle: ReferenceVehicle, record: ControllerRecord) -> bool:
        """Has the record the vehicle's axles at the vehicle's spacings?"""
        if len(record.axle_weights_kg) != vehicle.n_axles:
            return False
        if len(record.axle_spacings_m) != len(vehicle.axle_spacings_m):
            return False
        return all(
            abs(seen - known) <= self.spacing_limit_m(known)
            for seen, known in zip(
                record.axle_spacings_m, vehicle.axle_spacings_m, strict=True
            )
        )

    def spacing_limit_m(self, known_m: float) -> float:
        return max(self.settings.spacing_m, self.settings.spacing_share * known_m)

    def _gross_share(self, ratio: float) -> float:
        """Capped: a lane that weighs wrongly must not lose its runs."""
        share = abs(math.log(ratio)) / math.log(self.settings.gross_ratio)
        return min(share, 1.0)

    @cached_property
    def fitting(self) -> dict[str, list[int]]:
        """Records with each vehicle's pattern."""
        return {
            name: [
                place
                for place, record in enumerate(self.records)
                if self.is_pattern(self.vehicles[name], record)
            ]
            for name in dict.fromkeys(one.vehicle for one in self.passes)
        }

    def may_match(self, place: int, other: int) -> bool:
        driven, record = self.passes[place], self.records[other]
        return (driven.key, record.key) not in self.forbidden

    def find_offset(self) -> float:
        """Offset at which most passes find a fitting record; the smallest of equals."""
        limit, window = self.settings.clock_search_s, self.settings.window_s
        fitting = self.fitting
        gaps: list[FloatArray] = []
        for place, driven in enumerate(self.passes):
            own = [
                self.gap_s(place, other)
                for other in fitting[driven.vehicle]
                if self.may_match(place, other)
            ]
            near = np.sort([gap for gap in own if abs(gap) <= limit])
            if near.size:
                gaps.append(near)
        if not gaps:
            return 0.0
        offers = np.unique(np.concatenate(gaps))
        counts = np.zeros(offers.size)
        closeness = np.zeros(offers.size)
        for own_gaps in gaps:
            right = np.searchsorted(own_gaps, offers).clip(0, own_gaps.size - 1)
            left = (right - 1).clip(0)
            away = np.minimum(
                np.abs(own_gaps[right] - offers), np.abs(own_gaps[left] - offers)
            )
            counts += away <= window / 2.0
            closeness += np.minimum(away, window / 2.0)
        best = np.lexsort((np.abs(offers), closeness.round(), -counts))[0]
        return float(offers[best])

    def candidate(self, place: int, other: int, offset: float) -> Candidate:
        """The distance of a pair, and what it is made of."""
        parts = self._parts(self.passes[place], self.records[other], offset)
        distance = math.sqrt(sum(one.share**2 for one in parts) / len(parts))
        return Candidate(self.records[other].key, distance, parts)

    def _parts(
        self, driven: DrivenPass, record: ControllerRecord, offset: float
    ) -> tuple[ScorePart, ...]:
        vehicle, most = self.vehicles[driven.vehicle], self.settings
        late = seconds_between(driven.time, record.time) - offset
        found = [
            ScorePart("time", f"{format_number(late, 0)} s", abs(late) / most.window_s)
        ]
        if len(record.axle_spacings_m) == len(vehicle.axle_spacings_m) > 0:
            off = np.subtract(record.axle_spacings_m, vehicle.axle_spacings_m)
            limits = [self.spacing_limit_m(known) for known in vehicle.axle_spacings_m]
            share = float(np.sqrt(np.mean((off / limits) ** 2)))
            widest = self._told(float(np.max(np.abs(off))), Kind.LENGTH, 2)
            found.append(ScorePart("axle spacings", f"up to {widest}", share))
        if len(record.axle_weights_kg) == vehicle.n_axles:
            own = np.array(record.axle_weights_kg) / record.gvw_kg
            known = np.array(vehicle.axle_weights_kg) / vehicle.gvw_kg
            rms = float(np.sqrt(np.mean((own - known) ** 2)))
            told = f"{format_number(100 * rms, 1)} % of the gross weight"
            found.append(ScorePart("axle loads", told, rms / most.axle_share))
        ratio = record.gvw_kg / vehicle.gvw_kg
        found.append(
            ScorePart(
                "gross weight",
                f"{format_number(100 * (ratio - 1), 1)} %",
                self._gross_share(ratio),
            )
        )
        if driven.speed_kmh is not None and record.speed_kmh is not None:
            off_kmh = record.speed_kmh - driven.speed_kmh
            told = self._told(off_kmh, Kind.SPEED, 0)
            found.append(ScorePart("speed", told, abs(off_kmh) / most.speed_kmh))
        return tuple(found)

    def _told(self, value_si: float, kind: Kind, digits: int) -> str:
        return format_si(value_si, kind, self.unit_system, digits=digits)

    def candidates(self, offset: float) -> list[dict[int, Candidate]]:
        """For each pass the records within the limits."""
        fitting = self.fitting
        found = []
        for place, driven in enumerate(self.passes):
            own = {}
            for other in fitting[driven.vehicle]:
                is_near = (
                    abs(self.gap_s(place, other) - offset) <= self.settings.window_s
                )
                if is_near and self.may_match(place, other):
                    own[other] = self.candidate(place, other, offset)
            found.append(own)
        return found

    def assign(self, offset: float) -> dict[int, int]:
        """Record of each pass that gets one: pinned pairs first, then the rest."""
        of_key = {record.key: place for place, record in enumerate(self.records)}
        chosen = {
            place: of_key[self.pinned[driven.key]]
            for place, driven in enumerate(self.passes)
            if driven.key in self.pinned
        }
        taken = set(chosen.values())
        free = [place for place in range(len(self.passes)) if place not in chosen]
        offers = self.candidates(offset)
        columns = sorted({r for p in free for r in offers[p] if r not in taken})
        if not free or not columns:
            return chosen
        at = {record: column for column, record in enumerate(columns)}
        costs = np.full((len(free), len(columns) + len(free)), _IMPOSSIBLE)
        for row, place in enumerate(free):
            for record, candidate in offers[place].items():
                if record in at:
                    costs[row, at[record]] = candidate.distance
            costs[row, len(columns) + row] = LEFT_OUT
        rows, picked = optimize.linear_sum_assignment(costs)
        for row, column in zip(rows, picked, strict=True):
            if column < len(columns) and costs[row, column] < LEFT_OUT:
                chosen[free[row]] = columns[column]
        return chosen

    def result(self, chosen: Mapping[int, int], offset: float) -> MatchResult:
        offers = self.candidates(offset)
        by_record = {r: self.passes[p].key for p, r in chosen.items()}
        matches = [
            self._match(place, chosen[place], offers[place], by_record, offset)
            for place in range(len(self.passes))
            if place in chosen
        ]
        unmatched = [
            (driven.key, self._why(place, offers[place], by_record))
            for place, driven in enumerate(self.passes)
            if place not in chosen
        ]
        look_alikes: dict[int, str] = {}
        for name, places in self.fitting.items():
            for place in places:
                if place not in by_record:
                    look_alikes.setdefault(place, name)
        gaps = [self.gap_s(place, record) for place, record in chosen.items()]
        shown = float(np.median(gaps)) if gaps else None
        spread = None
        if shown is not None:
            spread = float(np.median(np.abs(np.array(gaps) - shown)))
        return MatchResult(
            matches=tuple(matches),
            unmatched_passes=tuple(unmatched),
            look_alikes=tuple(
                (self.records[place].key, look_alikes[place])
                for place in sorted(look_alikes)
            ),
            n_other_records=len(self.records) - len(by_record) - len(look_alikes),
            clock_offset_s=shown,
            clock_spread_s=spread,
            notes=(*clock_notes(shown, len(gaps)), *self._order_notes(chosen)),
        )

    def _match(
        self,
        place: int,
        record: int,
        offers: Mapping[int, Candidate],
        by_record: Mapping[int, str],
        offset: float,
    ) -> Match:
        driven = self.passes[place]
        own = offers.get(record) or self.candidate(place, record, offset)
        others = sorted(
            (
                replace(candidate, taken_by=by_record.get(other, ""))
                for other, candidate in offers.items()
                if other != record
            ),
            key=lambda one: one.distance,
        )[:N_ALTERNATIVES]
        is_pinned = driven.key in self.pinned
        is_clear = all(
            one.distance >= own.distance + self.settings.clear_by
            for one in others
            if not one.taken_by
        )
        return Match(
            driven=driven.key,
            record=own.record,
            distance=own.distance,
            parts=own.parts,
            alternatives=tuple(others),
            is_pinned=is_pinned,
            is_clear=is_clear or is_pinned,
            remarks=self._remarks(driven, self.records[record], is_clear or is_pinned),
        )

    def _remarks(
        self, driven: DrivenPass, record: ControllerRecord, is_clear: bool
    ) -> tuple[str, ...]:
        vehicle = self.vehicles[driven.vehicle]
        found = []
        if not is_clear:
            found.append("Another record fits nearly as well; look at both.")
        if is_unit_slip(record.gvw_kg / vehicle.gvw_kg):
            found.append(
                "The weights differ by the factor between pounds and kilograms; are "
                "they in the unit that was chosen?"
            )
        elif self._gross_share(record.gvw_kg / vehicle.gvw_kg) >= 1.0:
            found.append("The gross weight is far off; was it loaded as weighed?")
        if not self.is_pattern(vehicle, record):
            found.append(
                f"The axles of this record are not those of {vehicle.name}: "
                f"{len(record.axle_weights_kg)} axles, {vehicle.n_axles} expected."
                if len(record.axle_weights_kg) != vehicle.n_axles
                else f"The axle spacings here are not those of {vehicle.name}."
            )
        return tuple(found)

    def _why(
        self, place: int, offers: Mapping[int, Candidate], by_record: Mapping[int, str]
    ) -> str:
        driven = self.passes[place]
        vehicle = self.vehicles[driven.vehicle]
        taken = [by_record[record] for record in offers if record in by_record]
        if taken:
            return f"Its only fitting records went to run {', '.join(taken)}."
        if offers:
            return "The fitting records are too far from it in time, load and speed."
        return (
            f"No record within {self.settings.window_s:g} s has {vehicle.n_axles} "
            f"axles at the spacings of {vehicle.name}. It may have passed off the "
            "sensors, or axles may have been missed."
        )

    def _order_notes(self, chosen: Mapping[int, int]) -> list[str]:
        """Runs whose record came before the record of an earlier pass."""
        in_order = sorted(chosen, key=lambda place: self._since_first(place))
        times = [self.gap_s(in_order[0], chosen[p]) for p in in_order]
        crossed = [
            self.passes[in_order[i]].key
            for i in range(1, len(times))
            if times[i] < max(times[:i])
        ]
        if not crossed:
            return []
        told = ", ".join(crossed)
        return [f"Passes and records are not in the same order at run {told}."]

    def _since_first(self, place: int) -> float:
        return seconds_between(self.passes[0].time, self.passes[place].time)
