"""Small pieces for drawing SVG by hand: text made safe, short numbers, our colours.

Pure: no Django. Everything is drawn with presentation attributes, never with a style
attribute, so that a strict content security policy lets it through.
"""

from __future__ import annotations

import math
from html import escape
from itertools import pairwise

# The colour-blind-safe palette of Okabe and Ito (Color Universal Design, 2008).
BLUE = "#0072B2"
SKY = "#56B4E9"
ORANGE = "#E69F00"
VERMILLION = "#D55E00"
GREEN = "#009E73"
PURPLE = "#CC79A7"
GREY = "#6B6B6B"  # their black, lightened: 5.3:1 on white


def text_of(value: object) -> str:
    """Any text, safe inside an element or a double-quoted attribute.

    Characters that XML 1.0 forbids are dropped, so that the drawing stays readable.
    """
    kept = "".join(c for c in str(value) if c in "\t\n\r" or ord(c) >= 0x20)
    kept = "".join(c for c in kept if not 0xD800 <= ord(c) <= 0xDFFF)
    return escape(kept.replace("\ufffe", "").replace("\uffff", ""), quote=True)


def short(value: float, digits: int = 1) -> str:
    """A number with at most ``digits`` decimals and no needless zeros.

    >>> short(12.04), short(-0.01), short(3.25)
    ('12', '0', '3.2')
    """
    if not math.isfinite(value):
        raise ValueError("a drawing takes finite numbers only")
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def nice_ticks(low: float, high: float, count: int = 5) -> list[float]:
    """About ``count`` round numbers that lie within ``low`` to ``high``.

    Steps are 1, 2 or 5 times a power of ten. An empty range gives its one value.

    >>> nice_ticks(-7.2, 11.8)
    [-5.0, 0.0, 5.0, 10.0]
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        raise ValueError("ticks need a finite range")
    if high < low:
        low, high = high, low
    if high == low:
        return [low]
    rough = (high - low) / max(count, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9)) * power
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    digits = max(0, -math.floor(math.log10(step)) + 1)
    return [round(i * step, digits) + 0.0 for i in range(first, last + 1)]


def tick_text(value: float, ticks: list[float]) -> str:
    """A tick's label, with as many decimals as the step between ticks needs."""
    step = min((abs(b - a) for a, b in pairwise(ticks)), default=1.0)
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return f"{value:,.{digits}f}".replace("-", "−")
