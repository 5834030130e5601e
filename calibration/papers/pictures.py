"""Our charts and drawings as pictures for paper, with their text."""

from __future__ import annotations

from wimprog.lib.chart import Chart, chart_summary, chart_svg

FONT = ' font-family="DejaVu Sans"'


def chart_picture(chart: Chart, key: str) -> tuple[bytes, str]:
    """The chart's drawing without its caption, and its text alternative."""
    return svg_picture(chart_svg(chart, chart_id=key)), (
        f"{chart.title}. {chart_summary(chart)}"
    )


def svg_picture(drawn: str) -> bytes:
    """The one SVG element in what was drawn, with a font that paper has."""
    start = drawn.index("<svg")
    end = drawn.index("</svg>") + len("</svg>")
    return drawn[start:end].replace("<svg", f"<svg{FONT}", 1).encode()
