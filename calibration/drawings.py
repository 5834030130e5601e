"""A vehicle's axles drawn from the side: where they stand and which make a group."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.calc.axle_groups import group_axles
from wimprog.lib.svg import short, text_of
from wimprog.lib.units import Kind, UnitSystem, format_number, shown_unit

WIDTH, HEIGHT, EDGE, GROUND = 520, 118, 40.0, 62.0


def axle_layout_svg(
    axle_spacings_m: Sequence[float], *, system: UnitSystem | str, drawing_id: str
) -> str:
    """The axles of a vehicle to scale, front on the left, with spacings and groups.

    Parameters
    ----------
    axle_spacings_m
        Distances between neighbouring axles [m], front to rear.
    system
        Units in which the distances are written.
    drawing_id
        Prefix of the drawing's own ids; plain letters and digits.
    """
    unit = shown_unit(Kind.LENGTH, UnitSystem(system))
    at_m = [0.0]
    for spacing_m in axle_spacings_m:
        at_m.append(at_m[-1] + spacing_m)
    scale = (WIDTH - 2 * EDGE) / (at_m[-1] or 1.0)
    xs = [EDGE + scale * one for one in at_m]
    radius = min(13.0, 0.42 * scale * min([*axle_spacings_m, 4.0]))
    drawn = (
        f'<path d="M{short(xs[0] - 24)} {short(GROUND - radius)}H{short(xs[-1] + 24)}" '
        'stroke="currentColor" stroke-width="3"/>'
    )
    for place, x in enumerate(xs):
        drawn += (
            f'<circle cx="{short(x)}" cy="{short(GROUND - radius)}" '
            f'r="{short(radius)}" fill="#fff" stroke="currentColor" '
            'stroke-width="2.5"/>'
            f'<text x="{short(x)}" y="{short(GROUND - radius + 4)}" font-size="11" '
            f'text-anchor="middle">{place + 1}</text>'
        )
    drawn += _distances(axle_spacings_m, xs, unit.from_si, unit.digits)
    drawn += _groups(axle_spacings_m, xs)
    told = text_of(layout_sentence(axle_spacings_m, system=system))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="axle-layout" width="100%" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" font-size="12.5" fill="currentColor" '
        f'role="img" aria-labelledby="{drawing_id}-t">'
        f'<title id="{drawing_id}-t">{told}</title>{drawn}</svg>'
    )


def _distances(spacings: Sequence[float], xs: list[float], shown, digits: int) -> str:
    drawn, taken = "", -99.0
    for place, spacing in enumerate(spacings):
        words = format_number(shown(spacing), digits)
        middle = (xs[place] + xs[place + 1]) / 2
        half = 3.6 * len(words)
        y = 16.0 if middle - half > taken else 30.0
        taken = middle + half if y == 16.0 else taken
        drawn += (
            f'<text x="{short(middle)}" y="{short(y)}" text-anchor="middle">{words}'
            "</text>"
        )
    return drawn


def _groups(spacings: Sequence[float], xs: list[float]) -> str:
    drawn = ""
    for group in group_axles(spacings).groups:
        left, right = xs[group[0]] - 12, xs[group[-1]] + 12
        y = GROUND + 12
        drawn += (
            f'<path d="M{short(left)} {short(y)}v6H{short(right)}v-6" fill="none" '
            'stroke="currentColor" stroke-width="1.4"/>'
            f'<text x="{short((left + right) / 2)}" y="{short(y + 22)}" '
            f'text-anchor="middle">{_group_word(len(group))}</text>'
        )
    return drawn


def _group_word(n: int) -> str:
    return {2: "tandem", 3: "tridem"}.get(n, f"group of {n}")


def layout_sentence(
    axle_spacings_m: Sequence[float], *, system: UnitSystem | str
) -> str:
    """The layout in words: axles, spacings, groups."""
    unit = shown_unit(Kind.LENGTH, UnitSystem(system))
    n = len(axle_spacings_m) + 1
    told = ", ".join(
        format_number(unit.from_si(one), unit.digits) for one in axle_spacings_m
    )
    groups = group_axles(axle_spacings_m).groups
    named = "; ".join(
        f"axles {group[0] + 1}–{group[-1] + 1} {_group_word(len(group))}"
        for group in groups
    )
    return (
        f"{n} axles, front to rear {told} {unit.symbol} apart; "
        f"{named or 'no axle group'}."
    )
