"""An array in its lane, and what it is drawn with. Metres, in the layout's frame."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from installs.calc.layout.types.words import COMMON_PRACTICE, ElementKind
from installs.calc.types import Technology
from wimprog.lib.errors import Complaint
from wimprog.lib.units import MM_PER_IN


@dataclass(frozen=True)
class ArrayElement:
    """One thing of an array: a rectangle along and across the lane.

    Attributes
    ----------
    start_m, length_m
        Upstream edge from the reference line, and extent along the travel.
    across_from_m, across_to_m
        Right and left end, from the lane's right edge; negative is on the shoulder.
    slot_width_mm, slot_depth_mm
        The slot or pit that is cut for it; None where nobody has entered it.
    sensor_area_mm2
        Cross-section of the body in the slot, cut across the body's length.
    turns
        Turns of wire, of a loop.
    """

    kind: ElementKind
    name: str
    start_m: float
    length_m: float
    across_from_m: float
    across_to_m: float
    slot_width_mm: float | None = None
    slot_depth_mm: float | None = None
    sensor_area_mm2: float | None = None
    turns: int | None = None

    @property
    def end_m(self) -> float:
        """Downstream edge."""
        return self.start_m + self.length_m

    @property
    def centre_m(self) -> float:
        """Middle along the travel."""
        return self.start_m + self.length_m / 2.0

    @property
    def across_width_m(self) -> float:
        """Extent across the lane."""
        return self.across_to_m - self.across_from_m

    @property
    def across_centre_m(self) -> float:
        """Middle across the lane."""
        return (self.across_from_m + self.across_to_m) / 2.0

    @property
    def measured_m(self) -> float:
        """What is measured from the reference line: centre line or upstream edge."""
        return self.centre_m if self.kind.is_sawn_on_its_centre else self.start_m


@dataclass(frozen=True)
class ArrayLayout:
    """A whole array; the cabinet stands ``cabinet_from_edge_m`` right of the lane."""

    technology: Technology
    lane_width_m: float
    shoulder_width_m: float
    elements: tuple[ArrayElement, ...]
    cabinet_along_m: float = 0.0
    cabinet_from_edge_m: float = 6.0
    longest_lead_m: float | None = None

    def of_kind(self, *kinds: ElementKind) -> tuple[ArrayElement, ...]:
        """Its elements of these kinds, in order along the travel."""
        found = [one for one in self.elements if one.kind in kinds]
        return tuple(sorted(found, key=lambda one: (one.start_m, one.across_from_m)))

    @property
    def in_lane(self) -> tuple[ArrayElement, ...]:
        """Loops, sensors and plates, in order along the travel."""
        return self.of_kind(*(kind for kind in ElementKind if kind.is_in_lane))


@dataclass(frozen=True)
class HoleRule:
    """Where an exit hole is looked for, and of what size. Common practice, no source.

    About 18 in from the pavement edge and 1.5 in across; ``give_m`` either way is
    taken as "about".
    """

    from_pavement_edge_m: float = 18.0 * MM_PER_IN / 1000.0
    give_m: float = 6.0 * MM_PER_IN / 1000.0
    diameter_mm: float = 1.5 * MM_PER_IN
    source: str = COMMON_PRACTICE


@dataclass(frozen=True)
class LayoutCheck:
    """What is wrong with a layout, and what only looks odd."""

    faults: tuple[Complaint, ...]
    questions: tuple[Complaint, ...]


@dataclass(frozen=True)
class PositionRow:
    """One line of the table of positions, in metres from the reference line.

    ``measured_to`` says what of it is measured: "centre line" or "upstream edge";
    ``from_previous_m`` is the distance from the one before it of its kind.
    """

    number: int
    name: str
    kind: ElementKind
    measured_to: str
    measured_m: float
    start_m: float
    end_m: float
    across_from_m: float
    across_to_m: float
    from_previous_m: float | None


class Ink(StrEnum):
    """What a part of the drawing stands for; the drawing decides how it looks."""

    LANE = "lane"
    SHOULDER = "shoulder"
    LANE_LINE = "lane line"
    EDGE_LINE = "edge line"
    PAVEMENT_EDGE = "pavement edge"
    REFERENCE = "reference line"
    TRAFFIC = "direction of traffic"
    LOOP = "loop"
    SENSOR = "sensor"
    LEAD_IN = "lead-in slot"
    HOLE = "exit hole"
    CONDUIT = "conduit"
    TRENCH = "trench"
    CABINET = "cabinet"


@dataclass(frozen=True)
class Box:
    """A rectangle; ``along_m`` and ``across_m`` are its upstream right corner."""

    along_m: float
    across_m: float
    length_m: float
    width_m: float
    ink: Ink
    title: str = ""


@dataclass(frozen=True)
class Stroke:
    """A straight line from one place to another, each (along, across)."""

    begin: tuple[float, float]
    end: tuple[float, float]
    ink: Ink
    title: str = ""


@dataclass(frozen=True)
class Disc:
    """A circle."""

    along_m: float
    across_m: float
    diameter_m: float
    ink: Ink
    title: str = ""


@dataclass(frozen=True)
class Words:
    """Lettering centred at a place; ``turned`` runs across the lane.

    ``on_hatch`` asks for plain ground under it; ``nudge_em`` moves it downstream by
    so many heights of the lettering, whatever the scale. Where ``text`` is longer than
    ``room_m`` on a small drawing, ``short_text`` stands in for it.
    """

    along_m: float
    across_m: float
    text: str
    turned: bool = False
    on_hatch: bool = False
    nudge_em: float = 0.0
    short_text: str = ""
    room_m: float = 0.0


@dataclass(frozen=True)
class Measure:
    """A dimension line; ``level`` counts outwards from the road.

    ``is_along`` measures along the travel, drawn beyond the lane's left edge, with
    ``reach_m`` the place across from which its witness line comes; else across the
    road, drawn downstream of the array. ``short_text`` stands in for a ``text`` that
    is longer than the dimension line.
    """

    is_along: bool
    from_m: float
    to_m: float
    level: int
    text: str
    reach_m: float = 0.0
    short_text: str = ""


Primitive = Box | Stroke | Disc | Words | Measure


@dataclass(frozen=True)
class Outline:
    """A drawing in metres: its parts, back to front, and its telling in words."""

    parts: tuple[Primitive, ...]
    along_m: tuple[float, float]
    across_m: tuple[float, float]
    technology: Technology
    title: str
    description: str
