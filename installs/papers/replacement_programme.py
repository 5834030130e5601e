"""The replacement programme: the ordered list, its money, and how far to trust it.

Paper and workbook are made from the same lines. Nothing in them depends on the hour, so
the same facts give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Font

from installs import cautions
from installs.calc.types import Band
from installs.papers.parts import GOVERNS
from installs.selectors.renewal import Renewal
from installs.selectors.replacement_order import Order, spot_words
from installs.tables.renewal import (
    ORDER_HEADINGS,
    RISK_HEADINGS,
    order_sheet,
    risk_sheet,
)
from sites.models import Program
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.tables import safe_cell
from wimprog.lib.units import format_number
from wimprog.lib.version import version

TEMPLATE = Path(__file__).with_name("replacement_programme.typ")
NO_DATA = "no data"
METHOD = (
    "The order takes, at each step, what saves most lane-months of accepted data in "
    "the coming year for its money. A lane gives none while any of its sensors that "
    "carry data is down. Steps at one site share a trip, those in one lane the setting "
    "up of its closure.",
    "Each sensor’s chance of failing comes from its technology’s life curve given its "
    "age, and from its condition by its tests. The curves rest on the agency’s own "
    "lives where there are enough, and else on other technologies’ lives and on "
    "published or entered expectations, as said beside each.",
    "The bands are the 10 and 90 % points of simulated futures; they hold what the "
    "lives leave open and chance, not errors in costs or in what will be asked of the "
    "sites.",
)


def programme_pdf(found: Renewal, order: Order | None, *, program: Program) -> bytes:
    """The programme as a tagged PDF."""
    sign = program.currency
    return set_pdf(
        TEMPLATE,
        {
            "title": f"Replacement programme as of {_day(found.as_of)}",
            "agency": program.name,
            "paper": paper_size(program.unit_system),
            "made": f"As of {_day(found.as_of)}; wimprog {version()}",
            "summary": summary(found, order, sign),
            "order": _order_part(order, sign),
            "missed": _missed_part(order, sign),
            "years": _years_part(found, sign),
            "money": _money_part(found, sign),
            "curves": _curves_part(found),
            "doubts": [*found.warnings, *found.assumed],
            "trust": found.back_test.sentence,
            "method": [*METHOD, *([found.fleet.method] if found.fleet else [])],
            "cautions": list(cautions.INSTALLATION),
            "governs": GOVERNS,
        },
    )


def summary(found: Renewal, order: Order | None, sign: str) -> list[str]:
    """What it comes to, in sentences."""
    year = found.next_year
    if found.fleet is None or year is None:
        return ["No sensor is in the road: nothing can be replaced (no data)."]
    said = [
        f"Budget year {year.period.label}: {_counts(year.replacements)} sensors to "
        f"replace; cost {_money(year.cost, sign)}.",
        f"{found.fleet.n_sensors} sensors in the road, {found.n_down} "
        f"position{'' if found.n_down == 1 else 's'} empty since a failure. Policy: "
        f"replaced {found.policy.label}; prices grow "
        f"{100 * found.money.growth_per_year:g} % a year.",
    ]
    if order is not None:
        said.append(f"Budget: {order.budget_is}. {order.found.sentence}")
        if order.best_share is not None:
            said.append(
                f"The order saves {100 * order.best_share:.0f} % of what the best "
                "choice within the budget could save."
            )
    return said


def _counts(band: Band) -> str:
    return (
        f"{format_number(band.expected, 1)} expected "
        f"({band.p10:.0f} to {band.p90:.0f} in 8 of 10 futures)"
    )


def _money(band: Band | None, sign: str) -> str:
    if band is None:
        return NO_DATA
    return (
        f"{sign}{format_number(band.expected, 0)} expected "
        f"({sign}{format_number(band.p10, 0)} to {sign}{format_number(band.p90, 0)} in "
        "8 of 10 futures)"
    )


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%B %Y}"


def _order_part(order: Order | None, sign: str) -> dict[str, Any]:
    return _steps(order.funded if order else (), sign)


def _missed_part(order: Order | None, sign: str) -> dict[str, Any]:
    return _steps(order.missed if order else (), sign)


def _steps(steps: Any, sign: str) -> dict[str, Any]:
    rows = [
        [
            str(step.line.rank),
            spot_words(step.spots),
            f"{sign}{format_number(step.line.cost, 0)}",
            format_number(step.line.lane_months_saved, 2),
            f"{sign}{format_number(step.line.cumulative_cost, 0)}",
            step.line.sentence.partition("Why: ")[2],
        ]
        for step in steps
    ]
    heads = ["No.", "Replace", "Cost", "Lane-months saved", "Cost so far", "Why"]
    return {"headings": heads, "rows": rows}


def _years_part(found: Renewal, sign: str) -> dict[str, Any]:
    rows = []
    if found.fleet is not None:
        bands = [(y.period.label, y.replacements, y.cost) for y in found.fleet.years]
        bands.append(("all together", found.fleet.total, found.fleet.total_cost))
        for label, count, cost in bands:
            rows.append(
                [
                    label,
                    format_number(count.expected, 1),
                    f"{count.p10:.0f} / {count.p50:.0f} / {count.p90:.0f}",
                    f"{sign}{format_number(cost.expected, 0)}" if cost else NO_DATA,
                    " / ".join(
                        format_number(value, 0)
                        for value in (cost.p10, cost.p50, cost.p90)
                    )
                    if cost
                    else NO_DATA,
                ]
            )
    heads = ["Budget year", "Replacements", "10 / 50 / 90 %", "Cost", "10 / 50 / 90 %"]
    return {"headings": heads, "rows": rows}


def money_rows(found: Renewal, sign: str) -> list[list[str]]:
    """Every figure of money or time, and whose it is."""
    kept, source = found.money.settings, found.money.settings_source
    rows = [
        ["One trip of a crew to a site", f"{sign}{kept.mobilisation:,.0f}", source],
        ["More for an urgent trip", f"{sign}{kept.urgent_extra:,.0f}", source],
        [
            "A closed lane, an hour",
            f"{sign}{kept.closure_rate_per_hour:,.0f}",
            source,
        ],
        [
            "Closure: setting up, and each sensor",
            f"{kept.closure_setup_hours:g} h and {kept.closure_hours_each:g} h",
            source,
        ],
        [
            "Months down after a failure, and when planned",
            f"{kept.months_to_replace:g} and {kept.months_planned:g}",
            source,
        ],
    ]
    used = sorted({spot.row.technology for spot in found.spots})
    for one in (price for word, price in found.money.prices.items() if word in used):
        amount = NO_DATA if one.amount is None else f"{sign}{one.amount:,.0f}"
        rows.append(
            [f"One {one.technology} sensor, parts and work", amount, one.source]
        )
    return rows


def _money_part(found: Renewal, sign: str) -> dict[str, Any]:
    return {"headings": ["What", "Figure", "Whose"], "rows": money_rows(found, sign)}


def curve_rows(found: Renewal) -> list[list[str]]:
    """What each curve rests on."""
    return [
        [
            one.technology.capitalize(),
            str(one.n_live),
            f"{one.fit.n_units} / {one.fit.n_failures}",
            f"{one.fit.median_years:.1f} years",
            one.rests_on,
        ]
        for one in found.curves
    ]


def _curves_part(found: Renewal) -> dict[str, Any]:
    heads = ["Technology", "In the road", "Lives / failures", "Half failed by",
             "The curve"]  # fmt: skip
    return {"headings": heads, "rows": curve_rows(found)}


def programme_xlsx(found: Renewal, order: Order | None, *, program: Program) -> bytes:
    """The programme as a workbook: order, years, sensors, assumptions."""
    sign = program.currency
    book = Workbook()
    book.remove(book.active)
    title = f"Replacement programme as of {_day(found.as_of)}"
    _sheet(book, "Summary", [title, program.name], [[s] for s in summary(found, order,
           sign)] + [[found.back_test.sentence]])  # fmt: skip
    _sheet(book, "Order", list(ORDER_HEADINGS), list(order_sheet(order)))
    years = []
    for year in found.fleet.years if found.fleet else ():
        count, cost = year.replacements, year.cost
        numbers = [count.expected, count.p10, count.p50, count.p90]
        if cost is not None:
            numbers += [cost.expected, cost.p10, cost.p50, cost.p90]
        years.append([year.period.label, *(round(one, 3) for one in numbers)])
    heads = ["budget year", "replacements", "10 %", "50 %", "90 %", f"cost, {sign}",
             "cost 10 %", "cost 50 %", "cost 90 %"]  # fmt: skip
    _sheet(book, "Years", heads, years)
    _sheet(book, "Sensors", list(RISK_HEADINGS), list(risk_sheet(found)))
    _sheet(book, "Figures", ["what", "figure", "whose"], money_rows(found, sign))
    notes = [*found.warnings, *found.assumed, *METHOD]
    if found.fleet:
        notes.append(found.fleet.method)
    _sheet(book, "Method", ["what it rests on"], [[note] for note in notes])
    return _fixed(book, found.as_of)


def _sheet(book: Workbook, name: str, heads: list[str], rows: list[list[Any]]) -> None:
    sheet = book.create_sheet(name)
    sheet.append(heads)
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    for row in rows:
        sheet.append([safe_cell(cell) for cell in row])


def _fixed(book: Workbook, day: dt.date) -> bytes:
    """The workbook's bytes with the day of the forecast as its only time."""
    stamp = dt.datetime(day.year, day.month, day.day)  # noqa: DTZ001 (a file's own)
    book.properties.created = book.properties.modified = stamp
    raw, content = io.BytesIO(), io.BytesIO()
    book.save(raw)
    told = f"{stamp:%Y-%m-%dT%H:%M:%SZ}".encode()
    with zipfile.ZipFile(raw) as old, zipfile.ZipFile(content, "w") as new:
        for entry in old.infolist():
            part = old.read(entry)
            if entry.filename == "docProps/core.xml":
                part = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + told, part
                )
            fixed = zipfile.ZipInfo(entry.filename, stamp.timetuple()[:6])
            fixed.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(fixed, part)
    return content.getvalue()
