"""Our charts and drawings as pictures for paper, with their text."""

from __future__ import annotations

import math
from collections.abc import Sequence

from wimprog.lib.chart import Chart, chart_summary, chart_svg

GIVEN_PX, BOLD_PX = 7.2, 9.0
"""Width of a letter of a name: what the chart reserves, what the paper's font takes."""
FONT = ' font-family="DejaVu Sans"'


def room_for_labels(charts: Sequence[Chart]) -> int:
    """How much wider charts have to be for their longest name in the paper's font."""
    names = [len(one.label) for chart in charts for one in chart.series]
    width = min((chart.width for chart in charts), default=0)
    longest = max(names, default=0)
    given = min(GIVEN_PX * longest + 8, 0.3 * width)
    return max(0, math.ceil(BOLD_PX * longest - given))


def chart_picture(chart: Chart, key: str, *, room: int = 0) -> tuple[bytes, str]:
    """The chart's drawing without its caption, and its text alternative.

    Parameters
    ----------
    room
        Added to its width on the right, from :func:`room_for_labels`.
    """
    drawn = chart_svg(chart, chart_id=key).replace(
        f'viewBox="0 0 {chart.width} ', f'viewBox="0 0 {chart.width + room} ', 1
    )
    return svg_picture(drawn), f"{chart.title}. {chart_summary(chart)}"


def svg_picture(drawn: str) -> bytes:
    """The one SVG element in what was drawn, with a font that paper has."""
    start = drawn.index("<svg")
    end = drawn.index("</svg>") + len("</svg>")
    return drawn[start:end].replace("<svg", f"<svg{FONT}", 1).encode()
