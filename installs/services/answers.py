"""Answers to the items of a record: only ever added to, one at a time a record.

Whoever saves holds the record's row until the answer is kept, so answers to one record
stand in line and none is lost; each knows which answer its writer had before them, so
two people who answered at once are both shown.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from installs.calc.reading_text import read_reading
from installs.calc.record_judging import ItemFinding, ItemSpec
from installs.calc.record_limits import numbers_si, unit_shown
from installs.calc.types.records import (
    DispositionKind,
    EntrySource,
    ItemKind,
    RecordState,
)
from installs.models import (
    Disposition,
    InstallationRecord,
    Instrument,
    ItemEntry,
    ProductBatch,
    SignOff,
    TemplateItem,
)
from installs.selectors.record_entries import (
    clash_of,
    content_of,
    judge_entry,
    untreated_of,
)
from installs.selectors.record_facts import (
    RecordFacts,
    context_of,
    item_facts,
    spec_of,
)
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.units import UnitSystem, parse_number

Numbers = Sequence[tuple[str, str]]
MOST_NUMBERS = 200
MOST_WORDS = 4000


@dataclass(frozen=True)
class AnswerResult:
    """What became of an answer that was sent.

    ``created`` is False when the same answer had arrived before.
    """

    entry: ItemEntry
    finding: ItemFinding
    created: bool
    clash: bool


def open_record(record: InstallationRecord) -> InstallationRecord:
    """The record's row, held until the transaction ends.

    Raises
    ------
    DomainError
        When it is closed.
    """
    kept = held_record(record)
    refuse_closed(kept)
    return kept


def held_record(record: InstallationRecord) -> InstallationRecord:
    """The record's row, open or closed, held until the transaction ends."""
    return InstallationRecord.objects.select_for_update(of=("self",)).get(pk=record.pk)


def refuse_closed(record: InstallationRecord) -> None:
    """Refuse to add to a record that was accepted, rejected or abandoned."""
    if record.state != RecordState.OPEN:
        raise DomainError(
            f"This record was {record.state} on {record.closed_at:%Y-%m-%d}; nothing "
            "can be added to it any more."
        )


def refuse_foreign(record: InstallationRecord, item: TemplateItem) -> None:
    """Refuse an item of another template than the record's."""
    if item.stage.template_id != record.template_id:
        raise DomainError(
            f"“{item.prompt}” belongs to other stages than those of this record; open "
            "the record again."
        )


@transaction.atomic
def answer_save(
    *,
    record: InstallationRecord,
    item: TemplateItem,
    client_id: uuid.UUID,
    seen: int,
    by: Any,
    numbers_typed: Numbers = (),
    answer: str = "",
    reason: str = "",
    instrument: Instrument | None = None,
    batch: ProductBatch | None = None,
    over_range: bool = False,
    observed_at: dt.datetime | None = None,
    source: EntrySource | str = EntrySource.SCREEN,
    written_by: str = "",
) -> AnswerResult:
    """Keep an answer; sent twice it is kept once.

    Parameters
    ----------
    record, item
        Which item of which record.
    client_id
        Made where it was typed, once for each answer.
    seen
        Key of the newest entry of the item that its writer had before them, 0 for none.
    numbers_typed
        Text and unit of each number, as typed; an empty unit is the one shown.
    observed_at
        When it was seen; a time ahead of now (a phone's clock that is fast) counts as
        now.

    Raises
    ------
    DomainError
        When the record is closed, when the answer cannot be read or says nothing, when
        a correction or a second answer after one out of limits has no reason, or when
        the same ``client_id`` came with other content. Nothing is kept then.
    """
    record = held_record(record)
    refuse_foreign(record, item)
    facts = item_facts(record.pk, item)
    spec = spec_of(item, facts.limits.get(item.pk))
    entry = _entry(
        spec,
        numbers_typed,
        answer,
        ItemEntry(
            client_id=client_id,
            record=record,
            item=item,
            seen=seen,
            over_range=over_range,
            reason=reason.strip(),
            instrument=instrument,
            batch=batch,
            source=str(source),
            written_by=written_by.strip(),
            observed_at=_not_ahead(observed_at),
            entered_by=by,
        ),
        facts.system,
    )
    repeated = ItemEntry.objects.filter(client_id=client_id).first()
    if repeated is not None:
        return _sent_again(repeated, entry, facts, spec)
    refuse_closed(record)
    entry.after_signing = SignOff.objects.filter(
        record=record, stage_id=item.stage_id
    ).exists()
    if entry.after_signing and not entry.reason:
        raise DomainError(
            f"“{item.stage.title}” is signed, so “{item.prompt}” can only be "
            "corrected: say why. The signed answer stays beside it."
        )
    before = facts.entries.get(item.pk, [])
    entry.seen = max((one.pk for one in before if one.pk <= seen), default=0)
    context = context_of(facts)
    for one in before:
        judge_entry(facts, spec, one, context)
    _treat_before(before, entry, by)
    entry.save(force_insert=True)
    return _result(entry, facts, spec, created=True)


def _not_ahead(observed_at: dt.datetime | None) -> dt.datetime:
    now = clock.now()
    return now if observed_at is None else min(observed_at, now)


def _result(
    entry: ItemEntry, facts: RecordFacts, spec: ItemSpec, *, created: bool
) -> AnswerResult:
    entries = [*facts.entries.get(entry.item_id, ()), *([entry] if created else ())]
    with_it = {**facts.entries, entry.item_id: entries}
    whole = RecordFacts(**{**vars(facts), "entries": with_it})
    finding = judge_entry(whole, spec, entry, context_of(whole))
    return AnswerResult(entry, finding, created, bool(clash_of(entries)))


def _sent_again(
    kept: ItemEntry, sent: ItemEntry, facts: RecordFacts, spec: ItemSpec
) -> AnswerResult:
    same_place = (kept.record_id, kept.item_id) == (sent.record_id, sent.item_id)
    same_words = (content_of(kept), kept.reason) == (content_of(sent), sent.reason)
    if not (same_place and same_words and kept.entered_by_id == sent.entered_by_id):
        raise DomainError(
            f"Another answer was kept under the same mark already (for "
            f"“{kept.item.prompt}”), so this one was not; answer “{spec.prompt}” again."
        )
    return _result(kept, facts, spec, created=False)


def _treat_before(before: Sequence[ItemEntry], entry: ItemEntry, by: Any) -> None:
    """A reading out of limits is never simply typed over: say what was done."""
    untreated = [one for one in untreated_of(before) if one.pk <= entry.seen]
    if not untreated:
        return
    if not entry.reason:
        told = untreated[-1].answer_words  # type: ignore[attr-defined]
        raise DomainError(
            f"The answer before this one ({told}) was out of its limits; say what was "
            "done since, such as “sawn deeper”, or “mistyped”. Both stay on record."
        )
    for one in untreated:
        Disposition.objects.create(
            entry=one,
            kind=DispositionKind.REWORKED.value,
            decided_by=name_of(by),
            reason=entry.reason,
            entered_by=by,
        )


def name_of(user: Any) -> str:
    """Somebody's full name, or the name they sign in with."""
    return str(user.get_full_name() or user.get_username())


# --- reading what was typed ----------------------------------------------------------


def _entry(
    spec: ItemSpec,
    numbers_typed: Numbers,
    answer: str,
    entry: ItemEntry,
    system: UnitSystem,
) -> ItemEntry:
    """The entry with its numbers read and its words checked."""
    answer = answer.strip()
    if len(answer) > MOST_WORDS or len(entry.reason) > MOST_WORDS:
        raise DomainError(
            f"“{spec.prompt}”: an answer and its reason hold {MOST_WORDS} letters each "
            "at most."
        )
    if spec.kind is ItemKind.PHOTO:
        raise DomainError(f"“{spec.prompt}” is answered by adding a photo to it.")
    if spec.kind.n_numbers != 0:
        if answer:
            raise DomainError(
                f"“{spec.prompt}” asks for numbers; write other words as its reason."
            )
        entry.numbers, entry.typed, over = _numbers(spec, numbers_typed, system)
        entry.over_range = over or entry.over_range
    elif spec.kind is ItemKind.BATCH:
        if entry.batch is None:
            raise DomainError(f"“{spec.prompt}”: name the batch by its lot.")
    else:
        entry.answer = _words(spec, answer, entry.reason)
    if entry.over_range and spec.quantity is None:
        raise DomainError(
            f"“{spec.prompt}”: only a meter's reading can be over its range."
        )
    return entry


def _words(spec: ItemSpec, answer: str, reason: str) -> str:
    if not answer:
        raise DomainError(f"“{spec.prompt}”: nothing was answered.")
    if spec.kind is ItemKind.TEXT:
        return answer
    options = ("yes", "no") if spec.kind is ItemKind.YES_NO else spec.options
    chosen = next((one for one in options if one.casefold() == answer.casefold()), None)
    if chosen is None:
        raise DomainError(
            f"“{answer}” is not an answer to “{spec.prompt}”; choose one of "
            f"{', '.join(options)}."
        )
    wrong = spec.expected and chosen.casefold() != spec.expected.casefold()
    if wrong and not reason:
        raise DomainError(
            f"“{spec.prompt}”: “{chosen}” needs its reason ({spec.expected} passes)."
        )
    return chosen


def _numbers(
    spec: ItemSpec, numbers_typed: Numbers, system: UnitSystem
) -> tuple[list[float], list[list[str]], bool]:
    """Numbers in the item's own unit, text and unit as typed, and "over range".

    Raises
    ------
    DomainError
        Naming by its place every number that cannot be read.
    """
    wanted = spec.kind.n_numbers
    n = len(numbers_typed)
    if n == 0 or not any(text.strip() for text, _ in numbers_typed):
        raise DomainError(f"“{spec.prompt}”: nothing was answered.")
    if (wanted is not None and n != wanted) or n > MOST_NUMBERS:
        raise DomainError(
            f"“{spec.prompt}” asks for {wanted or f'at most {MOST_NUMBERS}'} "
            f"number{'' if wanted == 1 else 's'}; {n} came."
        )
    numbers, typed, over, complaints = [], [], False, []
    for place, (text, unit) in enumerate(numbers_typed, start=1):
        try:
            number, unit, above = _number(spec, text, unit, system)
        except ValueError as error:
            complaints.append(
                Complaint(
                    f"{error}.",
                    field=f"{spec.prompt}, number {place}" if n > 1 else spec.prompt,
                    value=text,
                    expected=f"a number in {unit}" if unit else "a number",
                )
            )
            continue
        numbers.append(number)
        typed.append([text.strip(), unit])
        over = over or above
    if complaints:
        told = str(complaints[0]) if len(complaints) == 1 else None
        raise DomainError(
            told or f"{len(complaints)} numbers of “{spec.prompt}” cannot be read.",
            tuple(complaints),
        )
    return numbers, typed, over


def _number(
    spec: ItemSpec, text: str, unit: str, system: UnitSystem
) -> tuple[float, str, bool]:
    """One number in the item's unit, the unit it was typed in, and "above"."""
    if spec.quantity is not None:
        read = read_reading(text, spec.quantity, unit=unit or None)
        # a unit written behind the number is part of the text
        own = unit or spec.quantity.unit
        return read.value, own if _is_bare(text) else "", read.over_range
    unit = unit or unit_shown(spec, system)
    (number,) = numbers_si(spec, (parse_number(text),), (unit,))
    return number, unit, False


def _is_bare(text: str) -> bool:
    return text.strip()[-1:].isdigit() or text.strip().endswith(".")
