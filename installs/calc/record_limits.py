"""Which limits hold for an item of a record, whose they are, and both in words.

In this order: the record's own (its contract's), the sensor model's, the curing table
of the resin in use, the template's. Where a rule of the first three has nothing to say,
the template's numbers stand and the words say so.
"""

from __future__ import annotations

from dataclasses import replace

from installs.calc.layout.types.words import BetweenRows, GoesBy
from installs.calc.types import AcceptanceLimit, ElectricalQuantity, Tolerance
from installs.calc.types.judging import (
    Answer,
    CureLine,
    CureRules,
    ItemSpec,
    JudgingContext,
    Limit,
)
from installs.calc.types.records import ItemKind, LimitRule, LimitSource
from installs.calc.unit_slips import convert
from wimprog.lib.units import UNITS, Kind, UnitSystem, shown_unit

#: Keys of items that a curing table has limits for, the same in every template.
CURE_TIME = "cure-time"
POT_TIME = "pot-time"
HARDENER = "hardener-amount"
AIR_TEMPERATURE = "air-temperature-at-pour"
PAVEMENT_TEMPERATURE = "pavement-temperature-at-pour"
RESIN_TEMPERATURE = "resin-temperature"
RESIN_BATCH = "resin-batch"
#: The item that tells each temperature which a curing table can go by, and its words.
TEMPERATURE_KEYS = {
    GoesBy.PAVEMENT: PAVEMENT_TEMPERATURE,
    GoesBy.AIR: AIR_TEMPERATURE,
    GoesBy.RESIN: RESIN_TEMPERATURE,
}
_TEMPERATURE_WORDS = {
    GoesBy.PAVEMENT: "the pavement's temperature",
    GoesBy.AIR: "the air's temperature",
    GoesBy.RESIN: "the resin's temperature",
}
#: How far a weighed hardener may be from the table's amount; the agency's own.
HARDENER_WITHIN = 0.10


# --- which limits hold -------------------------------------------------------------


def item_limit(spec: ItemSpec, context: JudgingContext) -> Limit:
    """The limits that hold for an item, with their source."""
    own = Limit(
        spec.low,
        spec.high,
        spec.largest_range,
        source=_own_source(spec),
        standing=str(spec.limit_source),
    )
    if spec.replaces:
        return own
    if spec.kind is ItemKind.TRIANGLE:
        return own if spec.high is not None else _square_limit(own, context)
    if spec.limit_rule is LimitRule.SENSOR_MODEL:
        return _model_limit(spec, own, context)
    if spec.limit_rule is LimitRule.CURING_TABLE:
        return _cure_limit(spec, own, context)
    return own


def _own_source(spec: ItemSpec) -> str:
    source = str(spec.limit_source)
    if spec.limit_reference:
        source = f"{source}: {spec.limit_reference}"
    return f"{source}; {spec.replaces}" if spec.replaces else source


def _square_limit(own: Limit, context: JudgingContext) -> Limit:
    return replace(
        own,
        high=context.square_tolerance_mm,
        source="agency: work settings",
        standing=str(LimitSource.AGENCY),
    )


def _model_limit(spec: ItemSpec, own: Limit, context: JudgingContext) -> Limit:
    held = context.model_limits.get(str(spec.quantity)) if spec.quantity else None
    if held is not None:
        source = f"limits of {context.model_name}: {held.source}"
        return Limit(held.low, held.high, source=source, standing=held.standing)
    if not context.model_name:
        trouble = "no sensor is named yet, so its model's limits are not known"
    else:
        what = spec.quantity or spec.prompt
        trouble = f"no limit of the {what} is entered for {context.model_name}"
    if not own.is_open:
        trouble += "; the template's stand"
    return replace(own, trouble=trouble)


def with_data_sheet(
    quantity: ElectricalQuantity,
    limit: AcceptanceLimit | None,
    data_sheet: float | None,
    tolerance: Tolerance | None,
) -> AcceptanceLimit | None:
    """The model's limit and the sensor's own data sheet as one: the tighter sides.

    Parameters
    ----------
    limit
        Of the sensor model; None where none is entered.
    data_sheet, tolerance
        Value on the sensor's own data sheet [unit of the quantity] and how near to it
        a reading should be.

    Returns
    -------
    AcceptanceLimit or None
        The model's alone where the sheet says nothing, or where the two exclude each
        other; None where neither says anything.
    """
    if data_sheet is None or tolerance is None:
        return limit
    sides = (tolerance.low, tolerance.high)
    low, high = (None if side is None else side * data_sheet for side in sides)
    sheet = (
        f"{tolerance.words} its data sheet's {data_sheet:g} {quantity.unit}".rstrip()
    )
    source = f"{sheet} ({tolerance.source})"
    if limit is not None:
        low = max((one for one in (low, limit.low) if one is not None), default=None)
        high = min((one for one in (high, limit.high) if one is not None), default=None)
        source = f"{limit.source}; {source}"
    if low is not None and high is not None and low > high:
        return limit
    return AcceptanceLimit(low, high, source, tolerance.standing)


def _cure_limit(spec: ItemSpec, own: Limit, context: JudgingContext) -> Limit:
    cure = context.cure
    if cure is None:
        return _stands(own, "no curing table is named with the resin's batch")
    source = f"curing table of {cure.product}: {cure.document}"
    if spec.key in (PAVEMENT_TEMPERATURE, RESIN_TEMPERATURE):
        window = cure.pavement_c if spec.key == PAVEMENT_TEMPERATURE else cure.resin_c
        return _narrowed(own, Limit(*window, source=source, standing="maker"))
    temp_c, told = context.temps_c.get(cure.goes_by), _TEMPERATURE_WORDS[cure.goes_by]
    if temp_c is None:
        return _stands(own, f"{told} at the pour is not known")
    lines = _lines_around(cure, temp_c)
    if not lines:
        side = "colder" if temp_c < cure.lines[0].temp_c else "warmer"
        return Limit(
            source=source,
            standing="maker",
            trouble=f"the {cure.goes_by} was {side} than any line of the {source}",
            undecided=True,
        )
    at = f"{source}, for {told}"
    if lines[0] != lines[1] and cure.between is BetweenRows.STRAIGHT_LINES:
        lines = (_line_between(lines[0], lines[1], temp_c),)
        at += ", on a straight line between two of its rows"
    return _narrowed(own, replace(_of_lines(spec.key, lines), source=at))


def _lines_around(cure: CureRules, temp_c: float) -> tuple[CureLine, ...]:
    """The line at a temperature, or those next to it; empty outside the table."""
    colder = [one for one in cure.lines if one.temp_c <= temp_c]
    warmer = [one for one in cure.lines if one.temp_c >= temp_c]
    return (colder[-1], warmer[0]) if colder and warmer else ()


def _line_between(colder: CureLine, warmer: CureLine, temp_c: float) -> CureLine:
    """The line that lies straight between two others."""
    share = (temp_c - colder.temp_c) / (warmer.temp_c - colder.temp_c)

    def at(cold: float, warm: float) -> float:
        return cold + share * (warm - cold)

    return CureLine(
        temp_c,
        at(colder.hardener_amount, warmer.hardener_amount),
        at(colder.pot_life_min, warmer.pot_life_min),
        at(colder.cure_min, warmer.cure_min),
    )


def _of_lines(key: str, lines: tuple[CureLine, ...]) -> Limit:
    """Between two lines the safer one counts: the longer cure, the shorter pot life."""
    if key == CURE_TIME:
        return Limit(low=max(one.cure_min for one in lines), standing="maker")
    if key == POT_TIME:
        return Limit(high=min(one.pot_life_min for one in lines), standing="maker")
    if key == HARDENER:
        amounts = [one.hardener_amount for one in lines]
        return Limit(
            low=min(amounts) * (1 - HARDENER_WITHIN),
            high=max(amounts) * (1 + HARDENER_WITHIN),
            standing="maker",
        )
    return Limit()


def _stands(own: Limit, trouble: str) -> Limit:
    return replace(
        own, trouble=trouble if own.is_open else f"{trouble}; the template's stand"
    )


def _narrowed(own: Limit, found: Limit) -> Limit:
    """Both hold: the tighter side of each, told by whoever it is from."""
    if found.is_open:
        return own
    low, high = found.low, found.high
    sources = [found.source]
    if own.low is not None and (low is None or own.low > low):
        low = own.low
        sources.append(f"lowest: {own.source}")
    if own.high is not None and (high is None or own.high < high):
        high = own.high
        sources.append(f"highest: {own.source}")
    return replace(
        found,
        low=low,
        high=high,
        largest_range=own.largest_range,
        source="; ".join(sources),
    )


# --- in words ----------------------------------------------------------------------


def limit_words(spec: ItemSpec, context: JudgingContext) -> str:
    """What passes, in the program's units: "2 in to 2.25 in, all within 0.125 in".

    Empty where nothing is set.
    """
    if spec.kind is ItemKind.BATCH:
        return "not past its expiry"
    if spec.kind is ItemKind.PHOTO:
        n = spec.photos_needed
        return f"at least {n} photo{'' if n == 1 else 's'}"
    if spec.kind in (ItemKind.YES_NO, ItemKind.CHOICE, ItemKind.TEXT):
        return f"“{spec.expected}” passes" if spec.expected else ""
    limit = item_limit(spec, context)
    if spec.kind is ItemKind.TRIANGLE:
        if limit.high is None:
            return ""
        off = replace(spec, kind=ItemKind.MEASUREMENT, measure=Kind.SHORT_LENGTH)
        most = told(off, limit.high, context.system)
        return f"at most {most} out of square at the far edge"
    parts = _sides_told(spec, limit, context.system)
    if limit.largest_range is not None:
        most = told(spec, limit.largest_range, context.system, difference=True)
        parts.append(f"all within {most} of each other")
    return ", ".join(parts)


def _sides_told(spec: ItemSpec, limit: Limit, system: UnitSystem) -> list[str]:
    if limit.low is not None and limit.high is not None:
        if limit.low == limit.high:
            return [f"exactly {told(spec, limit.low, system)}"]
        return [f"{told(spec, limit.low, system)} to {told(spec, limit.high, system)}"]
    if limit.low is not None:
        return [f"at least {told(spec, limit.low, system)}"]
    if limit.high is not None:
        return [f"at most {told(spec, limit.high, system)}"]
    return []


def limit_source_words(spec: ItemSpec, context: JudgingContext) -> str:
    """Whose the limit is, and what the rule could not find; empty without a limit."""
    if not limit_words(spec, context):
        return item_limit(spec, context).trouble
    if spec.kind is ItemKind.BATCH:
        return "maker: the batch's own expiry"
    limit = item_limit(spec, context)
    return f"{limit.source} ({limit.trouble})" if limit.trouble else limit.source


def unit_shown(spec: ItemSpec, system: UnitSystem) -> str:
    """Symbol of the unit that an item is shown and typed in; empty for none."""
    if spec.kind is ItemKind.TRIANGLE:
        return shown_unit(Kind.LENGTH, system).symbol
    if spec.quantity is not None:
        return spec.quantity.unit
    if spec.measure is not None:
        return shown_unit(spec.measure, system).symbol
    return spec.unit


def told(
    spec: ItemSpec, value: float, system: UnitSystem, *, difference: bool = False
) -> str:
    """A number of an item in the program's units, without needless digits."""
    symbol = unit_shown(spec, system)
    if spec.measure is not None and spec.quantity is None:
        unit = shown_unit(spec.measure, system)
        value = value / unit.factor if difference else unit.from_si(value)
    return f"{_trimmed(value)} {symbol}".strip()


def numbers_told(spec: ItemSpec, answer: Answer, system: UnitSystem) -> str:
    """The numbers as typed; converted beside them when typed in another unit."""
    shown = unit_shown(spec, system)
    units = {unit for _, unit in answer.typed}
    if len(answer.typed) != len(answer.numbers):
        return ", ".join(told(spec, number, system) for number in answer.numbers)
    if len(units) == 1:
        (unit,) = units
        as_typed = f"{', '.join(text for text, _ in answer.typed)} {unit}".strip()
    else:
        as_typed = ", ".join(f"{text} {unit}".strip() for text, unit in answer.typed)
    measure = Kind.LENGTH if spec.kind is ItemKind.TRIANGLE else spec.measure
    if units == {shown} or measure is None or spec.quantity is not None:
        return as_typed
    target = UNITS[shown]
    values = [target.from_si(number) for number in answer.numbers]
    return f"{as_typed} ({', '.join(_trimmed(one) for one in values)} {shown})"


def numbers_si(
    spec: ItemSpec, typed: tuple[float, ...], units: tuple[str, ...]
) -> tuple[float, ...]:
    """Typed numbers in the unit that an item keeps them in.

    Raises
    ------
    ValueError
        When a unit measures something else, or is not the item's.
    """
    measure = Kind.LENGTH if spec.kind is ItemKind.TRIANGLE else spec.measure
    own = unit_shown(spec, UnitSystem.SI)
    found = []
    for number, symbol in zip(typed, units, strict=True):
        if measure is not None and spec.quantity is None and symbol in UNITS:
            found.append(convert(number, UNITS[symbol], measure))
        elif symbol == own:
            found.append(number)
        else:
            raise ValueError(f"“{symbol}” is not a unit of this item")
    return tuple(found)


def _trimmed(value: float) -> str:
    """Four significant digits, whole numbers whole; a true minus sign."""
    digits = 4 if abs(value) < 10_000 else 6
    text = f"{float(f'{value:.{digits}g}') + 0.0:,.10g}"
    return text.replace("-", "−")
