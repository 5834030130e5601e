"""Reference vehicles and their static weighings, for the record."""

from __future__ import annotations

from typing import Any

from calibration.calc.reference_types import VehicleReference
from calibration.drawings import axle_layout_svg, layout_sentence
from calibration.models import StaticWeighing
from calibration.papers.pictures import svg_picture
from calibration.papers.words import amount, as_typed, clock_at, number, table
from calibration.selectors.record import RecordWeighing, SessionRecord
from wimprog.lib.units import UnitSystem


def weighing_parts(
    record: SessionRecord,
) -> tuple[list[dict[str, Any]], dict[str, bytes]]:
    """Each weighing with its vehicle, and the vehicles' drawings."""
    told, pictures = [], {}
    for one in record.weighings:
        vehicle, weighing = one.weighing.vehicle, one.weighing
        name = f"vehicle-{vehicle.pk}.svg"
        pictures[name] = svg_picture(
            axle_layout_svg(
                vehicle.axle_spacings_m,
                system=record.system,
                drawing_id=f"v{vehicle.pk}",
            )
        )
        told.append(
            {
                "title": f"{vehicle.name}, weighed "
                f"{clock_at(weighing.weighed_at, record.zone)}",
                "drawing": name,
                "alt": layout_sentence(vehicle.axle_spacings_m, system=record.system),
                "head": _head(one, record),
                "parts": _parts(one, record.system),
                "readings": _readings(weighing, record.system),
                "notes": _notes(one),
            }
        )
    return told, pictures


def _head(one: RecordWeighing, record: SessionRecord) -> list[list[str]]:
    weighing, vehicle, system = one.weighing, one.weighing.vehicle, record.system
    rows = [
        ("Vehicle", f"class {vehicle.vehicle_class}, {vehicle.origin}"),
        ("Body", vehicle.body),
        ("Suspension", vehicle.suspension),
        ("Tyres", vehicle.tyres),
        ("Axle spacings", as_typed(vehicle, "axle_spacings_m", system)),
        ("Axle weights", as_typed(weighing, "axle_weights_kg", system)),
        ("Scale", weighing.scale),
        ("Certificate", certificate_words(weighing)),
        ("Certificate’s uncertainty", scale_words(weighing, system)),
        (
            "Fuel burnt",
            ""
            if weighing.fuel_kg_per_hour is None
            else f"{as_typed(weighing, 'fuel_kg_per_hour', system)} an hour"
            if "fuel_kg_per_hour" in weighing.as_typed
            else f"{amount(weighing.fuel_kg_per_hour, 'kg', system, 1)} an hour",
        ),
        ("Note", weighing.note),
    ]
    return [list(row) for row in rows if row[1]]


def certificate_words(weighing: StaticWeighing) -> str:
    """The scale's certificate with its days."""
    told = weighing.certificate
    if weighing.certified_on:
        told += f" of {weighing.certified_on.isoformat()}"
    if weighing.certificate_until:
        told += f", good until {weighing.certificate_until.isoformat()}"
    return told


def scale_words(weighing: StaticWeighing, system: UnitSystem) -> str:
    """What the certificate says of the scale's uncertainty."""
    parts = []
    if weighing.scale_expanded_kg is not None:
        parts.append(amount(weighing.scale_expanded_kg, "kg", system, 1))
    if weighing.scale_expanded_pct is not None:
        parts.append(f"{weighing.scale_expanded_pct:g} % of the load")
    if not parts:
        return "not recorded, so it counts nothing below"
    return f"{' and '.join(parts)} (k {weighing.scale_coverage_k:g})"


def _parts(one: RecordWeighing, system: UnitSystem) -> dict[str, Any]:
    reference = one.reference
    headings = [
        "Part",
        "Reference",
        "As weighed",
        "Readings",
        "sd",
        "Standard uncertainty",
        "95 % interval, ±",
    ]
    return table(
        headings,
        _rows(reference, system) if reference else [],
        widths=["1fr", "1fr", "1fr", "0.8fr", "0.8fr", "1.5fr", "1.1fr"],
        numbers=(1, 2, 3, 4, 5, 6),
    )


def _rows(reference: VehicleReference, system: UnitSystem) -> list[list[str]]:
    rows = []
    for part in reference.parts:
        known = bool(part.components)
        rows.append(
            [
                part.part,
                amount(part.load_kg, "kg", system),
                amount(part.as_weighed_kg, "kg", system),
                str(part.n),
                "–" if part.sd_kg is None else amount(part.sd_kg, "kg", system, 1),
                f"{amount(part.u_kg, 'kg', system, 1)} ({number(part.u_pct)} %)"
                if known
                else "not known",
                amount(part.expanded_kg(), "kg", system, 1) if known else "not known",
            ]
        )
    return rows


def _readings(weighing: StaticWeighing, system: UnitSystem) -> dict[str, Any]:
    """The scale's readings: the lines that were typed, or else by axle."""
    typed = weighing.as_typed.get("readings")
    if typed:
        text, unit = typed
        lines = [[line.strip()] for line in text.splitlines() if line.strip()]
        return table([f"Axles on the scale, and what it showed, {unit}"], lines)
    shown: dict[str, list[str]] = {}
    for one in weighing.readings:
        axles = [axle + 1 for axle in one["axles"]]
        word = (
            f"axle {axles[0]}" if len(axles) == 1 else f"axles {axles[0]}–{axles[-1]}"
        )
        shown.setdefault(word, []).append(amount(one["kg"], "kg", system))
    return table(
        ["On the scale", "It showed"],
        [[word, "; ".join(loads)] for word, loads in shown.items()],
        widths=["1fr", "5fr"],
    )


def _notes(one: RecordWeighing) -> list[str]:
    notes = [one.certificate_word, one.why_none]
    if one.reference is not None:
        notes += list(one.reference.notes)
    return [note for note in notes if note]
