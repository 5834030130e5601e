"""The choice of technology for a procurement file: what is asked for, and why.

What is asked for is said by what it must do, so that any maker can offer: class,
tolerances, place, acceptance. The costs behind the choice follow, for the file.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from installs import cautions
from installs.papers.parts import GOVERNS
from installs.selectors.technology import TechnologyPage
from sites.models import Program
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.units import format_number
from wimprog.lib.version import version

TEMPLATE = Path(__file__).with_name("technology_choice.typ")
NO_DATA = "no data"
#: Tolerances for 95 % of values [%]: wheel, axle, axle group, gross weight. ASTM
#: E1318-09, table 1: Types I and II by FHWA Traffic Monitoring Guide 2022, table D-1;
#: Type III from memory.
TOLERANCES_PCT: dict[str, tuple[int | None, int, int, int]] = {
    "Type I": (25, 20, 15, 10),
    "Type II": (None, 30, 20, 15),
    "Type III": (20, 15, 10, 6),
}
TOLERANCE_STANDING = {
    "Type I": "as cited by FHWA Traffic Monitoring Guide 2022, table D-1",
    "Type II": "as cited by FHWA Traffic Monitoring Guide 2022, table D-1",
    "Type III": "from memory",
}
_ITEMS = ("wheel load", "axle load", "axle-group load", "gross vehicle weight")


def technology_pdf(page: TechnologyPage, *, program: Program, as_of: dt.date) -> bytes:
    """The choice as a tagged PDF; the same facts give the same bytes."""
    return set_pdf(
        TEMPLATE,
        {
            "title": f"Weigh-in-motion lane: what is asked for at {page.place}",
            "agency": program.name,
            "paper": paper_size(program.unit_system),
            "made": f"As of {as_of.day} {as_of:%B %Y}; wimprog {version()}",
            "asked": asked_for(page),
            "uses": _uses(page),
            "location": [_sentence(page.location.words), *page.location.limited_by],
            "sentence": page.choice.sentence if page.choice else no_choice(page),
            "lines": _lines(page, program.currency),
            "turns": turn_words(page),
            "inputs": _inputs(page),
            "money": page.money_words,
            "cautions": list(cautions.INSTALLATION),
            "governs": GOVERNS,
        },
    )


def no_choice(page: TechnologyPage) -> str:
    """Why there is no choice yet."""
    return (
        f"No use is set for {page.place}, so no class is wanted yet and nothing can be "
        "compared."
    )


def asked_for(page: TechnologyPage) -> list[str]:
    """What an offer must do, whatever it is made of."""
    wanted = page.wanted
    if wanted is None:
        return [no_choice(page)]
    kind = wanted.e1318_type
    tolerances = [
        f"{item} ±{value} %"
        for item, value in zip(_ITEMS, TOLERANCES_PCT[kind], strict=True)
        if value is not None
    ]
    return [
        f"A system that performs as {kind} of ASTM E1318-09 in this lane. Any way of "
        "sensing that does so may be offered.",
        f"At least 95 of 100 values of each kind lie within: {', '.join(tolerances)} "
        f"of the weight on static scales (table 1; {TOLERANCE_STANDING[kind]}); speed "
        "within 1 mph (2 km/h) and axle spacing within 0.5 ft (0.15 m).",
        "The offer names the conditions of pavement, geometry, temperature and speed "
        "under which it performs so; they must hold at the place as surveyed below.",
        "Acceptance: two loaded vehicles of known static weight, one of them a tractor "
        "with semi-trailer on five axles and one of another body, each at least five "
        "times near the low and five near the high speed of the lane (ASTM E1318-09, "
        "section 7, from memory). If more than 5 % of the differences of any one kind "
        "lie outside its tolerance, the system is not accepted.",
        "After acceptance: test points for each sensor’s electrical values as "
        "installed, warranty terms in writing, and calibration at least yearly.",
    ]


def turn_words(page: TechnologyPage) -> list[str]:
    """What would change the answer, a line each."""
    if not page.n_turns:
        return ["Nothing ranks, so nothing was moved."]
    if not page.turns:
        return [f"None of {page.n_turns} moves of one input puts another first."]
    said = [
        f"{one.technology.capitalize()}, {one.what}: {one.first or 'none'} comes first."
        for one in page.turns
    ]
    return [*said, f"{len(page.turns)} of {page.n_turns} moves change the answer."]


def _uses(page: TechnologyPage) -> list[str]:
    return [
        f"{use.capitalize()}: {one.e1318_type}, ±{one.gvw_pct:g} % of gross weight "
        f"({one.source}; {one.standing})"
        for use, one in page.wanted_rows
    ]


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def _span(one: Any, sign: str, decimals: int = 0) -> str:
    if one is None:
        return NO_DATA
    low, high = one.interval.low, one.interval.high
    return (
        f"{sign}{format_number(one.mean, decimals)}\n"
        f"({format_number(low, decimals)} to {format_number(high, decimals)})"
    )


def _lines(page: TechnologyPage, sign: str) -> dict[str, Any]:
    words = {True: "yes", False: "no", None: "not known"}
    rows = [
        [
            shown.line.technology.capitalize(),
            words[shown.line.reaches_class],
            _span(shown.line.life_years, "", 1),
            _span(shown.line.cost_per_year, sign),
            _span(shown.line.cost_per_lane_month, sign),
            NO_DATA
            if shown.share_pct is None
            else f"{format_number(shown.share_pct, 0)} %",
            shown.standing,
        ]
        for shown in page.lines
    ]
    heads = ["Technology", "Reaches the class", "Years between renewals", "A year",
             "A lane-month", "Cheapest in", "Against the first"]  # fmt: skip
    return {"headings": heads, "rows": rows}


def _inputs(page: TechnologyPage) -> list[list[str]]:
    return [
        [shown.line.technology.capitalize(), "; ".join(shown.line.origins)]
        for shown in page.lines
    ]
