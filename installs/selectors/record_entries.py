"""The entries of one item: what each says, which stand, which are left undecided."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from installs.calc.record_judging import answer_words, judge_item
from installs.calc.types.judging import (
    FindingState,
    ItemFinding,
    ItemSpec,
    JudgingContext,
)
from installs.models import Disposition, ItemEntry
from installs.selectors.record_facts import RecordFacts, answer_of


def judge_entry(
    facts: RecordFacts, spec: ItemSpec, entry: ItemEntry, context: JudgingContext
) -> ItemFinding:
    """The finding of one entry; kept on it, with its words, for whoever shows it."""
    answer = answer_of(entry, zone=facts.zone)
    finding = judge_item(spec, answer, context=context)
    entry.finding = finding  # type: ignore[attr-defined]
    entry.answer_words = answer_words(  # type: ignore[attr-defined]
        spec, answer, system=facts.system
    )
    return finding


def disposition_of(entry: ItemEntry | None) -> Disposition | None:
    """What was decided about an entry, if anything was."""
    return getattr(entry, "disposition", None) if entry is not None else None


def clash_of(entries: Sequence[ItemEntry]) -> tuple[ItemEntry, ...]:
    """The entries that stand against each other; empty when they agree.

    Entries come oldest first. One that had seen another takes its place; one that had
    not stands beside it. Two that stand side by side by different people, with
    different content, clash; a later entry that has seen both settles it.
    """
    beside: list[ItemEntry] = []
    for entry in entries:
        beside = [
            one
            for one in beside
            if one.pk > entry.seen and one.entered_by_id != entry.entered_by_id
        ]
        beside.append(entry)
    if not beside:
        return ()
    newest = beside[-1]
    others = [one for one in beside[:-1] if content_of(one) != content_of(newest)]
    return (*others, newest) if others else ()


def content_of(entry: ItemEntry) -> tuple[Any, ...]:
    """What an entry says, to hold it against another."""
    return (
        [list(pair) for pair in entry.typed],
        entry.over_range,
        entry.answer,
        entry.instrument_id,
        entry.batch_id,
    )


def untreated_of(entries: Iterable[ItemEntry]) -> tuple[ItemEntry, ...]:
    """Judged entries out of their limits that nobody has disposed of."""
    return tuple(
        entry
        for entry in entries
        if entry.finding.state is FindingState.MISSES  # type: ignore[attr-defined]
        and disposition_of(entry) is None
    )
