"""How numbers, conditions and verdicts are printed. Nothing here asks the database."""

from __future__ import annotations

import math
from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from wimprog.lib.band import Band, band_defs_svg, band_key, band_rows, band_svg
from wimprog.lib.band import band_axis_svg as axis_svg
from wimprog.lib.band_facts import signed
from wimprog.lib.chart import Chart, chart_svg
from wimprog.lib.judgement import Interval, Judgement
from wimprog.lib.marks import marked_word
from wimprog.lib.outline import SiteMap, site_map_svg
from wimprog.lib.units import (
    Kind,
    Typed,
    UnitSystem,
    chance_words,
    format_number,
    format_si,
    kind_of_field,
    shown_unit,
)
from wimprog.lib.version import version

register = template.Library()

NO_DATA = "no data"


def _system(context: template.Context) -> UnitSystem:
    program = context.get("program")
    system = getattr(program, "unit_system", None) if program else None
    return UnitSystem(system) if system else UnitSystem.US


def _known(value: Any) -> bool:
    if value is None or value == "":
        return False
    return not (isinstance(value, float) and not math.isfinite(value))


register.simple_tag(version)


@register.simple_tag(takes_context=True)
def measure(
    context: template.Context, value: Any, kind: str, digits: int | None = None
) -> str:
    """An SI value in the program's units: ``{% measure run.gvw_kg "mass" %}``."""
    known = float(value) if _known(value) else None
    return format_si(known, Kind(kind), _system(context), digits=digits)


@register.simple_tag(takes_context=True)
def unit(context: template.Context, kind: str) -> str:
    """The symbol of the unit that the program shows for a kind of quantity."""
    return shown_unit(Kind(kind), _system(context)).symbol


@register.simple_tag(takes_context=True)
def typed(
    context: template.Context, fact: Any, name: str, digits: int | None = None
) -> str:
    """A stored measurement as it was typed: ``{% typed run "gvw_kg" %}``.

    The typed text comes back exactly, in the unit it was typed in; where nothing was
    typed, the SI value is shown in the program's units.
    """
    kind = kind_of_field(name)
    if kind is None:
        raise template.TemplateSyntaxError(
            f"“{name}” does not end in a unit, so it cannot be shown as a measurement"
        )
    value = getattr(fact, name, None)
    entry = (getattr(fact, "as_typed", None) or {}).get(name)
    if isinstance(value, list | tuple):
        if entry:
            return f"{entry[0]} {entry[1]}"
        shown = shown_unit(kind, _system(context))
        places = shown.digits if digits is None else digits
        numbers = " ".join(format_number(shown.from_si(v), places) for v in value)
        return f"{numbers} {shown.symbol}" if value else NO_DATA
    if value is None or not _known(value):
        return NO_DATA
    if entry:
        kept = Typed(entry[0], entry[1])
        return f"{kept.text} {kept.unit}"
    return format_si(float(value), kind, _system(context), digits=digits)


@register.filter
def nodata(value: Any) -> Any:
    """The value, or "no data" where there is none; zero stays zero."""
    return value if _known(value) else NO_DATA


@register.filter
def number(value: Any, digits: int = 0) -> str:
    """A number with its digits, thousands grouped; "no data" for none."""
    return format_number(float(value), int(digits)) if _known(value) else NO_DATA


@register.filter
def pct(value: Any, digits: int = 1) -> str:
    """A value already in per cent: ``{{ share_pct|pct:0 }}``."""
    if not _known(value):
        return NO_DATA
    return f"{format_number(float(value), int(digits))} %"


@register.filter
def signed_pct(value: Any, digits: int = 1) -> str:
    """A per cent whose sign always shows: "+0.4 %"."""
    return f"{signed(float(value), int(digits))} %" if _known(value) else NO_DATA


@register.filter
def share(value: Any, digits: int = 0) -> str:
    """A share from 0 to 1 as per cent."""
    return pct(100 * float(value), digits) if _known(value) else NO_DATA


@register.filter
def chance(value: Any) -> str:
    """A chance in whole per cent; never a flat 0 or 100 for what is neither."""
    return chance_words(float(value)) if _known(value) else NO_DATA


@register.simple_tag
def condition(word: Any, label: str = "") -> SafeString:
    """A condition (or verdict) word with its mark before it."""
    return mark_safe(marked_word(str(word), label))  # noqa: S308 (escaped there)


def interval_text(interval: Interval | None, unit_symbol: str, digits: int = 2) -> str:
    """An interval with its level: "−5.88 to +8.28 % (95 % interval)"."""
    if interval is None:
        return "no interval"
    space = f" {unit_symbol}" if unit_symbol else ""
    write = signed if interval.low < 0 else format_number
    low, high = write(interval.low, digits), write(interval.high, digits)
    level = format_number(100 * interval.level, 1).removesuffix(".0")
    return f"{low} to {high}{space} ({level} % interval)"


def _detail(value: Any) -> Any:
    """A further number or word of a judgement, as people read it."""
    if isinstance(value, float):
        return format_number(value, 3)
    if isinstance(value, list | tuple):
        return ", ".join(str(_detail(one)) for one in value) or "none"
    return value


@register.inclusion_tag("includes/_verdict.html")
def verdict(judgement: Judgement, digits: int = 2, open_rule: bool = False) -> Any:
    """A judgement: word and mark, value, n, interval; rule and limit folded below."""
    value = NO_DATA
    if judgement.value is not None and math.isfinite(judgement.value):
        value = f"{format_number(judgement.value, digits)} {judgement.unit}".strip()
    return {
        "judgement": judgement,
        "word": judgement.verdict.value,
        "value": value,
        "n": format_number(judgement.n, 0),
        "interval": interval_text(judgement.interval, judgement.unit, digits),
        "details": [(name, _detail(v)) for name, v in judgement.details],
        "open_rule": open_rule,
    }


@register.simple_tag
def band_defs() -> SafeString:
    """Once on a page that shows bands."""
    return mark_safe(band_defs_svg())  # noqa: S308 (drawn by us)


@register.simple_tag
def band(facts: Band, band_id: str, title: str, size: str = "row") -> SafeString:
    """``{% band row.band row.band_id row.title size="page" %}``."""
    if size not in ("row", "page", "print"):
        raise template.TemplateSyntaxError(f"a band has no size “{size}”")
    drawn = band_svg(facts, size=size, band_id=band_id, title=title)  # type: ignore[arg-type]
    return mark_safe(drawn)  # noqa: S308 (every text in it is escaped)


@register.simple_tag
def band_axis(facts: Band) -> SafeString:
    """The years above a column of bands that share one axis."""
    drawn = axis_svg(facts.start, facts.today, facts.end)
    return mark_safe(drawn)  # noqa: S308 (drawn by us)


@register.inclusion_tag("includes/_band_key.html")
def band_legend(technologies: Any = ()) -> dict[str, Any]:
    """The key to the bands of this page."""
    return {
        "entries": [
            (mark_safe(drawing), word)  # noqa: S308 (drawn by us)
            for drawing, word in band_key(list(technologies))
        ]
    }


@register.inclusion_tag("includes/_band_table.html")
def band_table(facts: Band, title: str = "") -> dict[str, Any]:
    """The table behind a band, folded."""
    return {"rows": band_rows(facts), "title": title}


@register.simple_tag
def chart(drawn: Chart, chart_id: str) -> SafeString:
    """``{% chart weeks "weeks" %}``: a chart with its caption."""
    return mark_safe(chart_svg(drawn, chart_id=chart_id))  # noqa: S308 (escaped)


@register.simple_tag
def site_map(places: SiteMap) -> SafeString:
    """The map of the sites."""
    return mark_safe(site_map_svg(places))  # noqa: S308 (every text is escaped)


@register.simple_tag
def svg(drawing: str | bytes) -> SafeString:
    """An SVG drawn by our own figures, without its XML heading. Never user text."""
    text = drawing.decode() if isinstance(drawing, bytes) else drawing
    start = text.find("<svg")
    return mark_safe(text[start:] if start >= 0 else "")  # noqa: S308 (drawn by us)


@register.filter
def until_word(day: Any) -> str:
    """An end date, or that it still goes on."""
    return f"{day.day} {day:%b %Y}" if day else "still"


@register.simple_tag(takes_context=True)
def param_replace(context: template.Context, **changes: Any) -> str:
    """This page's query with some parameters changed; None takes one away."""
    request = context.get("request")
    query = request.GET.copy() if request else None
    if query is None:
        return ""
    for name, value in changes.items():
        if value is None:
            query.pop(name, None)
        else:
            query[name] = value
    return f"?{query.urlencode()}"


@register.simple_tag(takes_context=True)
def page_link(context: template.Context, number: int, name: str = "") -> str:
    """This page's address with another page number."""
    return param_replace(context, **{name or "page": number})


@register.simple_tag
def table_caption(table: Any) -> str:
    """What a table shows: its ``caption``, or its model's plural."""
    caption = getattr(table, "caption", "")
    model = getattr(table._meta, "model", None)
    if not caption and model is not None:
        caption = str(model._meta.verbose_name_plural).capitalize()
    return str(caption or "Table")


@register.simple_tag
def field_unit(bound_field: Any) -> str:
    """The unit that stands behind a form's box; "" when it has none."""
    return str(bound_field.field.widget.attrs.get("data-unit", ""))


@register.simple_tag
def widget_kind(bound_field: Any) -> str:
    """What sort of box a form field has: "checkbox", "choices" or "box"."""
    kind = getattr(bound_field.field.widget, "input_type", "")
    many = getattr(bound_field.field.widget, "allow_multiple_selected", False)
    if kind == "checkbox" and not many:
        return "checkbox"
    return "choices" if bound_field.use_fieldset else "box"
