"""A standard's judgement of a location, from its lines."""

from __future__ import annotations

from collections.abc import Sequence

from sites.calc.suitability.base import LineJudgement, LineState, first_to_fail
from sites.calc.suitability.words import counted, listed
from wimprog.lib.judgement import Judgement, Verdict


def overall_of(
    lines: Sequence[LineJudgement], *, class_name: str, rule: str, standing: str
) -> Judgement:
    """The location's judgement by one standard, from its lines.

    One line missed: it misses. Any line not known: cannot say. Shown are the value and
    the limit of the line that fails first.
    """
    missed = [line for line in lines if line.state is LineState.MISSES]
    unknown = [line for line in lines if not line.is_known]
    n_known = len(lines) - len(unknown)
    if missed:
        verdict = Verdict.MISSES
        sentence = f"Misses {class_name} on {names_with_margins(missed)}."
    elif not lines:
        verdict = Verdict.CANNOT_SAY
        sentence = f"Asks nothing that is judged here for {class_name}."
    elif not n_known:
        verdict = Verdict.CANNOT_SAY
        sentence = f"Cannot say whether {class_name} is met."
    elif unknown:
        verdict = Verdict.CANNOT_SAY
        sentence = (
            f"Cannot say whether {class_name} is met: the "
            f"{counted(n_known, 'known condition')} of {len(lines)} "
            f"{'speaks' if n_known == 1 else 'speak'} for it."
        )
    else:
        verdict = Verdict.MEETS
        sentence = f"Meets {class_name} on all {len(lines)} conditions."
    sentence += unknown_words(unknown)
    shown = first_to_fail(lines)
    return Judgement(
        quantity="site",
        value=shown.judgement.value if shown else None,
        unit=shown.judgement.unit if shown else "",
        n=sum(line.judgement.n for line in lines),
        interval=None,
        rule=rule,
        limit=f"{class_name}: {shown.name} {shown.judgement.limit}"
        if shown
        else class_name,
        verdict=verdict,
        sentence=sentence,
        standing=standing,
        details=(
            ("class", class_name),
            ("shown condition", shown.name if shown else None),
            ("missed", [line.name for line in missed]),
            ("not known", [line.name for line in unknown]),
        ),
    )


def unknown_words(lines: Sequence[LineJudgement]) -> str:
    """Sentences naming lines that say nothing: not measured, or left open."""
    text = ""
    for state, words in (
        (LineState.NOT_MEASURED, "Not measured"),
        (LineState.MAY, "Left open"),
    ):
        names = list(dict.fromkeys(one.name for one in lines if one.state is state))
        if names:
            text += f" {words}: {listed(names)}."
    return text


def names_with_margins(lines: Sequence[LineJudgement]) -> str:
    """Names of lines, each with its margin: "grade (0.4 % over) and curve radius"."""
    return listed(
        [f"{one.name} ({one.margin_text})" if one.margin_text else one.name
         for one in lines]
    )  # fmt: skip
