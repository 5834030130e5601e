"""What an array takes: cuts, grout, sealant, small parts, leads and holes, with waste.

Everything is reckoned from the places and slots of the layout and from the agency's
figures (:class:`installs.calc.layout.types.WorkFigures`); each line says how.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence

from installs.calc.layout.array import lead_length_m
from installs.calc.layout.slots import FILLINGS, Slot, missing_figure, slot_of
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    ElementKind,
    Filling,
    QuantityLine,
    Takeoff,
    WorkFigures,
    WorkStep,
)
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import Kind, UnitSystem, format_number, format_si, shown_unit

_K = ElementKind
LEAD_RULE = "way to the cabinet by the exit hole, square to the road, with slack"


def takeoff(
    layout: ArrayLayout,
    figures: WorkFigures | None = None,
    *,
    system: UnitSystem = UnitSystem.SI,
) -> Takeoff:
    """Quantities of an array with waste.

    Parameters
    ----------
    layout
        The array; :func:`installs.calc.layout.array.check_layout` should find no fault.
    figures
        What to reckon with; the usual ones when None.
    system
        Units of the sentences. Amounts stay in metres and litres.

    Returns
    -------
    Takeoff
        A line whose slot lacks a figure has no amount, and ``missing`` says which.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a sensor's body is larger than its slot.
    """
    figures = figures or WorkFigures()
    sawn = [one for one in layout.elements if one.kind in FILLINGS]
    missing = tuple(_missing(sawn, layout))
    slots = [slot_of(one, figures) for one in sawn if not missing_figure(one)]
    for slot in slots:
        if slot.volume_l < 0:
            raise DomainError(
                f"What goes into the slot of “{slot.element.name}” takes more room "
                "than the slot has; check its width, depth and cross-section."
            )
    work = _Work(layout, figures, system, slots, {m.field for m in missing})
    lines = (
        *work.holes_and_conduit(),
        *work.saw_cuts(),
        *work.supports(),
        *work.grout(),
        *work.leads_and_wire(),
        *work.sealant(),
    )
    leads = tuple(work.lead_judgements())
    return Takeoff(lines, leads, missing)


def _missing(sawn: Sequence[ArrayElement], layout: ArrayLayout) -> Iterator[Complaint]:
    rows = {id(one): i for i, one in enumerate(layout.elements, 1)}
    for one in sawn:
        what = missing_figure(one)
        if what:
            yield Complaint(
                f"“{one.name}” has no {what} yet; quantities that need it are not "
                "known.",
                row=rows[id(one)],
                field=one.kind,
                remedy=f"Enter the {what} from the contract or the maker's sheet.",
            )


class _Work:
    """The layout, its slots and the figures, from which every line is reckoned."""

    def __init__(
        self,
        layout: ArrayLayout,
        figures: WorkFigures,
        system: UnitSystem,
        slots: list[Slot],
        incomplete: set[str],
    ) -> None:
        self._layout = layout
        self._figures = figures
        self._system = system
        self._slots = slots
        self._incomplete = incomplete

    # words ---------------------------------------------------------------------

    def _length(self, value_m: float) -> str:
        return format_si(value_m, Kind.LENGTH, self._system)

    def _small(self, value_mm: float) -> str:
        return format_si(value_mm, Kind.SHORT_LENGTH, self._system)

    def _lacks(self, *kinds: ElementKind) -> bool:
        return any(kind in self._incomplete for kind in kinds)

    def _line(
        self,
        key: str,
        name: str,
        amount: float,
        unit: str,
        step: WorkStep,
        basis: str,
        *,
        waste: float = 0.0,
        needs: Sequence[ElementKind] = (),
        is_material: bool = True,
    ) -> QuantityLine:
        """A line; without an amount when a slot that it needs lacks a figure."""
        lacks = self._lacks(*needs)
        if lacks:
            basis = "Not known: a slot lacks a figure that this is reckoned from."
        elif waste > 0:
            basis = f"{basis.rstrip('.')}; {format_number(100 * waste, 0)} % waste."
        return QuantityLine(
            key=key,
            name=name,
            amount=None if lacks else amount,
            unit=unit,
            step=step,
            basis=basis,
            waste_share=waste,
            kind=Kind.LENGTH if unit == "m" else None,
            is_material=is_material,
        )

    # lines ---------------------------------------------------------------------

    def holes_and_conduit(self) -> Iterator[QuantityLine]:
        holes = self._layout.of_kind(_K.EXIT_HOLE)
        trenches = self._layout.of_kind(_K.TRENCH)
        step = WorkStep.EXIT_HOLE
        yield self._line(
            "exit-holes", "exit holes to drill", len(holes), "each", step,
            f"{len(holes)} in the layout.", is_material=False,
        )  # fmt: skip
        trench_m = sum(max(t.length_m, t.across_width_m) for t in trenches)
        yield self._line(
            "trench", "trench to dig", trench_m, "m", step,
            f"{len(trenches)} in the layout.", is_material=False,
        )  # fmt: skip
        hole_m = sum(
            min(
                (
                    hole.across_centre_m - t.across_to_m
                    for t in trenches
                    if t.across_to_m < hole.across_centre_m
                ),
                default=hole.across_centre_m + self._layout.shoulder_width_m,
            )
            for hole in holes
        )
        waste = self._figures.small_parts_waste_share
        yield self._line(
            "conduit", "conduit", (hole_m + trench_m) * (1.0 + waste), "m", step,
            f"{self._length(hole_m)} through {len(holes)} holes to the trench and "
            f"{self._length(trench_m)} of trench.",
            waste=waste,
        )  # fmt: skip

    def saw_cuts(self) -> Iterator[QuantityLine]:
        waste = self._figures.saw_waste_share
        by_depth: dict[float, list[Slot]] = defaultdict(list)
        for slot in self._slots:
            by_depth[round(slot.cut_depth_mm, 1)].append(slot)
        for depth_mm, slots in sorted(by_depth.items()):
            total = sum(slot.cut_m for slot in slots)
            yield self._line(
                f"saw-cut-{depth_mm:g}mm",
                f"saw cut, {self._small(depth_mm)} deep",
                total * (1.0 + waste),
                "m",
                WorkStep.SAW_CUTTING,
                f"{self._length(total)} for {len(slots)} slots and pits, cut past the "
                f"ends for full depth with a blade of "
                f"{self._small(self._figures.blade_diameter_mm)}.",
                waste=waste,
                needs=tuple(FILLINGS),
                is_material=False,
            )
        total = sum(slot.cut_m for slot in self._slots)
        yield self._line(
            "saw-cut", "saw cut, all depths", total * (1.0 + waste), "m",
            WorkStep.SAW_CUTTING, f"{self._length(total)} of cut.",
            waste=waste, needs=tuple(FILLINGS), is_material=False,
        )  # fmt: skip

    def supports(self) -> Iterator[QuantityLine]:
        sensors = self._layout.of_kind(_K.AXLE_SENSOR)
        if not sensors:
            return
        spacing_m = self._figures.support_spacing_mm / 1000.0
        count = sum(
            math.ceil(one.across_width_m / spacing_m - 1e-9) + 1 for one in sensors
        )
        waste = self._figures.small_parts_waste_share
        yield self._line(
            "supports", "chairs or clips", math.ceil(count * (1.0 + waste) - 1e-9),
            "each", WorkStep.PREPARATION,
            f"{count} on {len(sensors)} sensors, at each end and at most "
            f"{self._small(self._figures.support_spacing_mm)} apart "
            f"({self._figures.source}).",
            waste=waste,
        )  # fmt: skip

    def grout(self) -> Iterator[QuantityLine]:
        kinds = tuple(k for k, v in FILLINGS.items() if v is Filling.GROUT)
        pours = [slot for slot in self._slots if slot.filling is Filling.GROUT]
        if not pours and not self._lacks(*kinds):
            return
        figures, step = self._figures, WorkStep.POURING
        edge_m = sum(slot.edge_m for slot in pours)
        yield self._line(
            "tape", "tape for the slot's edges",
            edge_m * (1.0 + figures.small_parts_waste_share), "m", WorkStep.SETTING,
            f"both edges of {len(pours)} slots, {self._length(edge_m)}.",
            waste=figures.small_parts_waste_share, needs=kinds,
        )  # fmt: skip
        yield from self._resin(
            pours, kinds, "grout", figures.resin_kit_l, step, figures.kits_by_pour
        )

    def sealant(self) -> Iterator[QuantityLine]:
        kinds = tuple(k for k, v in FILLINGS.items() if v is Filling.SEALANT)
        slots = [slot for slot in self._slots if slot.filling is Filling.SEALANT]
        if not slots and not self._lacks(*kinds):
            return
        figures, step = self._figures, WorkStep.GRINDING
        rod_m = sum(slot.rod_m for slot in slots)
        yield self._line(
            "backer-rod", "backer rod",
            rod_m * (1.0 + figures.small_parts_waste_share), "m", step,
            f"{self._length(rod_m)} of loop and lead-in slot.",
            waste=figures.small_parts_waste_share, needs=kinds,
        )  # fmt: skip
        yield from self._resin(
            slots, kinds, "sealant", figures.sealant_kit_l, step, by_pour=False
        )

    def _resin(
        self,
        slots: Sequence[Slot],
        kinds: Sequence[ElementKind],
        name: str,
        kit_l: float,
        step: WorkStep,
        by_pour: bool,
    ) -> Iterator[QuantityLine]:
        """Litres left to fill, and whole kits."""
        waste = self._figures.resin_waste_share
        needed = [slot.volume_l * (1.0 + waste) for slot in slots]
        total = math.fsum(needed)
        litres = format_number(math.fsum(slot.volume_l for slot in slots), 2)
        yield self._line(
            f"{name}-volume", f"{name}, mixed volume", total, "L", step,
            f"{litres} L in {len(slots)} slots, less what lies in them.",
            waste=waste, needs=kinds, is_material=False,
        )  # fmt: skip
        if by_pour:
            kits = sum(math.ceil(one / kit_l - 1e-9) for one in needed)
            how = f"whole kits of {kit_l:g} L for each of {len(slots)} pours."
        else:
            kits = math.ceil(total / kit_l - 1e-9)
            how = f"whole kits of {kit_l:g} L for {format_number(total, 2)} L."
        yield self._line(
            f"{name}-kits", f"{name} kits of {kit_l:g} L", kits, "kit", step, how,
            needs=kinds,
        )  # fmt: skip

    def leads_and_wire(self) -> Iterator[QuantityLine]:
        slack, step = self._figures.lead_slack_m, WorkStep.LEAD_IN
        for one in self._layout.in_lane:
            way_m = lead_length_m(one, self._layout)
            if one.kind is _K.LOOP:
                if one.turns is None:
                    continue
                round_m = 2.0 * (one.length_m + one.across_width_m)
                yield self._line(
                    f"wire-{_key(one.name)}", f"loop wire, {one.name}",
                    one.turns * round_m + 2.0 * (way_m + slack), "m", step,
                    f"{one.turns} turns of {self._length(round_m)} and both ends to "
                    f"the cabinet, {self._length(way_m)} with "
                    f"{self._length(slack)} slack.",
                )  # fmt: skip
            else:
                yield self._line(
                    f"lead-{_key(one.name)}", f"lead of {one.name}", way_m + slack,
                    "m", step,
                    f"{self._length(way_m)} to the cabinet and "
                    f"{self._length(slack)} slack.",
                )  # fmt: skip

    def lead_judgements(self) -> Iterator[Judgement]:
        """Each sensor's lead against the maker's longest; a loop's wire has none."""
        unit = shown_unit(Kind.LENGTH, self._system)
        longest = self._layout.longest_lead_m
        for one in self._layout.in_lane:
            if one.kind is _K.LOOP:
                continue
            need_m = lead_length_m(one, self._layout) + self._figures.lead_slack_m
            if longest is None:
                verdict, limit = Verdict.CANNOT_SAY, "no longest lead entered"
            else:
                fits = need_m <= longest
                verdict = Verdict.MEETS if fits else Verdict.MISSES
                limit = f"at most {self._length(longest)}"
            told = self._length(need_m)
            yield Judgement(
                quantity=f"lead of {one.name}",
                value=unit.from_si(need_m),
                unit=unit.symbol,
                n=1,
                interval=None,
                rule=LEAD_RULE,
                limit=limit,
                verdict=verdict,
                sentence=f"Lead of {one.name} {told} with slack; {limit}: {verdict}.",
                standing="maker's longest lead" if longest else "no limit entered",
            )


def _key(name: str) -> str:
    kept = "".join(c if c.isalnum() else "-" for c in name.strip().casefold())
    return "-".join(part for part in kept.split("-") if part)
