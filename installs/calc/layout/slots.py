"""Cuts and slots of one element: how far the saw runs, and what is left to fill.

A round blade of radius R that cuts d deep has its full depth only between points one
half chord from the ends of the cut, so that each end is cut past by

    e = √(2 R d − d²),

and the tail so cut, seen from the side, is half a circular segment of area

    A = (R² arccos((R − d)/R) − (R − d) e) / 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from installs.calc.layout.types import (
    ArrayElement,
    ElementKind,
    Filling,
    WorkFigures,
)

_K = ElementKind
#: What each kind's slot is filled with.
FILLINGS: dict[ElementKind, Filling] = {
    _K.AXLE_SENSOR: Filling.GROUT,
    _K.PLATE: Filling.GROUT,
    _K.TEMPERATURE_PROBE: Filling.GROUT,
    _K.LOOP: Filling.SEALANT,
    _K.LEAD_IN_SLOT: Filling.SEALANT,
}
_L_PER_M3 = 1e3


@dataclass(frozen=True)
class Slot:
    """What one element's slot takes.

    Attributes
    ----------
    cut_m, cut_depth_mm
        Metres of saw cut and their depth; the pit of a deep frame is broken out below.
    edge_m
        Length of the edges that are taped before grout is poured.
    rod_m
        Length of slot that takes backer rod.
    volume_l
        Left to fill, without waste, in litres.
    """

    element: ArrayElement
    filling: Filling
    cut_m: float
    cut_depth_mm: float
    edge_m: float
    rod_m: float
    volume_l: float


def overcut_m(blade_diameter_mm: float, depth_mm: float) -> float:
    """How far past the end a cut goes for full depth at the end, in metres.

    >>> round(overcut_m(356.0, 51.0), 3)
    0.125
    """
    r, d = blade_diameter_mm / 2000.0, depth_mm / 1000.0
    return math.sqrt(2.0 * r * d - d * d)


def tail_area_m2(blade_diameter_mm: float, depth_mm: float) -> float:
    """Area, seen from the side, of what is cut past one end, in m²."""
    r, d = blade_diameter_mm / 2000.0, depth_mm / 1000.0
    e = overcut_m(blade_diameter_mm, depth_mm)
    return (r * r * math.acos((r - d) / r) - (r - d) * e) / 2.0


def missing_figure(element: ArrayElement) -> str:
    """The figure without which an element's slot cannot be reckoned, or ""."""
    if element.slot_width_mm is None:
        return "slot width"
    if element.slot_depth_mm is None:
        return "slot depth"
    if element.kind is _K.LOOP and element.turns is None:
        return "turns of wire"
    if FILLINGS[element.kind] is Filling.GROUT and element.sensor_area_mm2 is None:
        return "sensor's cross-section"
    return ""


def slot_of(element: ArrayElement, figures: WorkFigures) -> Slot:
    """The cuts and the filling of one element.

    Parameters
    ----------
    element
        A loop, sensor, plate or lead-in slot with every figure it needs
        (:func:`missing_figure` is "").

    Returns
    -------
    Slot
        Its volume is negative when the body would not fit.
    """
    width_mm, depth_mm = element.slot_width_mm or 0.0, element.slot_depth_mm or 0.0
    blade = figures.blade_diameter_mm
    cut_depth_mm = min(depth_mm, figures.deepest_cut_share * blade)
    past = overcut_m(blade, cut_depth_mm)
    tail = tail_area_m2(blade, cut_depth_mm)
    w, d = width_mm / 1000.0, depth_mm / 1000.0
    across, along = element.across_width_m, element.length_m
    kind = element.kind
    if kind is _K.LOOP:
        round_m = 2.0 * (along + across)
        wire = (element.turns or 0) * _circle_m2(figures.wire_diameter_mm)
        cut, edge, rod = round_m + 8.0 * past, 0.0, round_m
        volume = round_m * (w * d - wire) + 8.0 * tail * w
    elif kind is _K.LEAD_IN_SLOT:
        cut, edge, rod = across, 0.0, across
        volume = across * (w * d - _circle_m2(figures.lead_diameter_mm))
    elif kind is _K.PLATE:
        round_m = 2.0 * (along + across)
        cut, edge, rod = round_m + 8.0 * past, round_m, 0.0
        body = (element.sensor_area_mm2 or 0.0) / 1e6
        volume = across * (along * d - body)
        volume += 8.0 * tail * figures.blade_width_mm / 1000.0
    else:
        passes = 1 if width_mm <= figures.blade_width_mm else 2
        one_pass = across + 2.0 * past
        cut, edge, rod = passes * one_pass, 2.0 * one_pass, 0.0
        body = (element.sensor_area_mm2 or 0.0) / 1e6
        tail_w = min(w, passes * figures.blade_width_mm / 1000.0)
        volume = across * (w * d - body) + 2.0 * tail * tail_w
    return Slot(
        element, FILLINGS[kind], cut, cut_depth_mm, edge, rod, volume * _L_PER_M3
    )


def _circle_m2(diameter_mm: float) -> float:
    return math.pi * (diameter_mm / 1000.0) ** 2 / 4.0
