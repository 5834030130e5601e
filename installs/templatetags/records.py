"""Marks of stages and answers: word and shape, from the condition and verdict marks."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from installs.calc.types.records import RecordState, StageState
from wimprog.lib.marks import marked_word

register = template.Library()

STAGE_MARKS: dict[str, str] = {
    StageState.NOT_BEGUN: "no data",
    StageState.IN_WORK: "watch",
    StageState.READY: "meets",
    StageState.SIGNED: "sound",
    StageState.CORRECTED: "act",
    RecordState.OPEN: "watch",
    RecordState.ACCEPTED: "sound",
    RecordState.REJECTED: "misses",
    RecordState.ABANDONED: "no data",
}
FINDING_MARKS: dict[str, str] = {
    "meets": "meets",
    "misses": "misses",
    "cannot say": "cannot say",
    "answered": "sound",
    "not answered": "no data",
    "not asked": "no data",
}


@register.simple_tag
def stage_mark(state: Any) -> SafeString:
    """Where a stage or a record stands: ``{% stage_mark view.state %}``."""
    return mark_safe(marked_word(STAGE_MARKS[str(state)], str(state)))  # noqa: S308


@register.simple_tag
def finding_mark(state: Any) -> SafeString:
    """What an answer came to: ``{% finding_mark item.finding.state %}``."""
    return mark_safe(marked_word(FINDING_MARKS[str(state)], str(state)))  # noqa: S308


@register.simple_tag
def number_boxes(view: Any) -> list[dict[str, Any]]:
    """The number boxes of an item with what was typed last, in order."""
    n = view.item.points or view.n_boxes
    typed = [pair[0] for pair in view.entry.typed] if view.entry else []
    labels = ("into the lane", "along the edge", "diagonal")
    triangle = view.n_boxes == len(labels) and view.item.kind.startswith("triangle")
    return [
        {
            "place": place,
            "label": labels[place - 1] if triangle else f"point {place}",
            "typed": typed[place - 1] if place <= len(typed) else "",
        }
        for place in range(1, max(n, len(typed)) + 1)
    ]
