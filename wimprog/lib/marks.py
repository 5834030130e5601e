"""The marks beside condition and verdict words: a shape and a colour for each.

Pure: no Django. A mark never stands alone; its word is beside it, so it is hidden from
screen readers. Sound, watch, act and no data differ in shape before they differ in
colour; so do meets, misses and cannot say.
"""

from __future__ import annotations

from wimprog.lib.judgement import Condition, Verdict
from wimprog.lib.svg import BLUE, GREY, ORANGE, VERMILLION, text_of

# Drawn in a 16 × 16 box centred on 0, 0, so that other drawings can place them.
SHAPES: dict[str, str] = {
    Condition.SOUND: f'<circle r="6.5" fill="{BLUE}"/>',
    Condition.WATCH: (
        f'<circle r="6" fill="#fff" stroke="#8A5F00" stroke-width="1.5"/>'
        f'<path d="M0-6A6 6 0 0 0 0 6z" fill="{ORANGE}" stroke="#8A5F00"/>'
    ),
    Condition.ACT: f'<path d="M0-7L7.5 6.5H-7.5z" fill="{VERMILLION}"/>',
    Condition.NO_DATA: (
        f'<circle r="6" fill="#fff" stroke="{GREY}" stroke-width="1.8"/>'
    ),
    Verdict.MEETS: f'<rect x="-6" y="-6" width="12" height="12" fill="{BLUE}"/>',
    Verdict.MISSES: (
        f'<rect x="-6" y="-6" width="12" height="12" fill="#fff" '
        f'stroke="{VERMILLION}" stroke-width="1.8"/>'
        f'<path d="M-5.5-5.5L5.5 5.5M-5.5 5.5L5.5-5.5" stroke="{VERMILLION}" '
        'stroke-width="1.8"/>'
    ),
    Verdict.CANNOT_SAY: (
        f'<rect x="-6" y="-6" width="12" height="12" fill="#fff" stroke="{GREY}" '
        'stroke-width="1.8" stroke-dasharray="3 2"/>'
    ),
}


def mark_shape(word: str) -> str:
    """The shape of a condition or verdict word, centred on 0, 0.

    Raises
    ------
    ValueError
        When the word is neither.
    """
    try:
        return SHAPES[str(word)]
    except KeyError:
        raise ValueError(
            f"“{word}” is neither a condition nor a verdict; expected one of "
            f"{', '.join(str(known) for known in SHAPES)}"
        ) from None


def condition_mark_svg(condition: str, *, size_px: int = 16) -> str:
    """The mark as a small SVG of its own, hidden from screen readers."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="mark" width="{size_px}" '
        f'height="{size_px}" viewBox="-8 -8 16 16" aria-hidden="true">'
        f"{mark_shape(condition)}</svg>"
    )


def marked_word(word: str, label: str = "") -> str:
    """A condition or verdict word, or a ``label`` in its place, after its mark: HTML.

    Everything that is not drawn by us is escaped.
    """
    kind = text_of(str(word).replace(" ", "-"))
    return (
        f'<span class="condition condition-{kind}">{condition_mark_svg(str(word))} '
        f"{text_of(label or word)}</span>"
    )
