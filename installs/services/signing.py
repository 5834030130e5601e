"""Stages signed by role: what was true is kept with the signature and sealed."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.calc.types.records import SignRole, StageState
from installs.models import InstallationRecord, SignOff, TemplateStage
from installs.selectors.record_facts import answer_of, record_facts
from installs.selectors.records import ItemView, RecordPage, StageView, page_of
from installs.services.answers import held_record, refuse_closed
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError

ACCEPT = "installs.accept_installationrecord"


@transaction.atomic
def stage_sign(
    *,
    record: InstallationRecord,
    stage: TemplateStage,
    role: SignRole | str,
    name_signed: str,
    client_id: uuid.UUID,
    by: Any,
    now: dt.datetime | None = None,
) -> SignOff:
    """Sign a stage in a role; sent twice it is signed once.

    What was asked, answered, judged and decided is kept with the signature as it
    stands, with a fingerprint over all of it.

    Raises
    ------
    DomainError
        Listing as complaints everything that is missing.
    """
    record = held_record(record)
    kept = SignOff.objects.filter(client_id=client_id).first()
    if kept is not None:
        return _signed_again(kept, record, stage, role)
    refuse_closed(record)
    if stage.template_id != record.template_id:
        raise DomainError(f"“{stage.title}” is not a stage of this record.")
    page = page_of(record_facts(record.pk))
    view = page.stage(stage.key)
    role = _role(view, role, by)
    name = " ".join(name_signed.split())
    if not name:
        raise DomainError("Sign with your name; an empty signature says nothing.")
    _refuse_unready(view)
    signed_at = now or clock.now()
    truth = what_is_true(page, view, role=role, name=name, by=by, at=signed_at)
    return SignOff.objects.create(
        client_id=client_id,
        record=record,
        stage=stage,
        role=role.value,
        name_signed=name,
        signed_by=by,
        signed_at=signed_at,
        last_entry=view.newest_entry,
        what_was_true=truth,
        fingerprint=fingerprint(truth),
    )


def _signed_again(
    kept: SignOff, record: InstallationRecord, stage: TemplateStage, role: str
) -> SignOff:
    same = (kept.record_id, kept.stage_id, kept.role) == (
        record.pk,
        stage.pk,
        str(role),
    )
    if not same:
        raise DomainError(
            "Another signature was kept under the same mark already, so this one was "
            "not; open the stage again and sign it there."
        )
    return kept


def _role(view: StageView, role: SignRole | str, by: Any) -> SignRole:
    wanted = {str(one): one for one in (*view.missing_roles, *view.signed_roles)}
    found = wanted.get(str(role))
    if found is None:
        raise DomainError(
            f"“{view.stage.title}” is signed by {', '.join(wanted)}; not by {role}."
        )
    if found in view.signed_roles:
        raise DomainError(
            f"“{view.stage.title}” is signed as {found} already, for everything as it "
            "stands."
        )
    if found is SignRole.ENGINEER and not by.has_perm(ACCEPT):
        raise DomainError(
            "Only somebody who may accept installation records signs as engineer."
        )
    return found


def _refuse_unready(view: StageView) -> None:
    if not view.reasons_not_ready:
        return
    reasons = view.reasons_not_ready
    n = len(reasons)
    raise DomainError(
        f"“{view.stage.title}” cannot be signed: {reasons[0]}."
        if n == 1
        else f"“{view.stage.title}” cannot be signed; {n} things are missing.",
        tuple(
            Complaint(
                f"{reason[:1].upper()}{reason[1:]}.",
                field=f"{view.stage.number}. {view.stage.title}",
            )
            for reason in reasons
        ),
    )


# --- what was true -------------------------------------------------------------------


def what_is_true(
    page: RecordPage,
    view: StageView,
    *,
    role: SignRole,
    name: str,
    by: Any,
    at: dt.datetime,
) -> dict[str, Any]:
    """Everything that a signature stands for, as plain JSON.

    Measured numbers are kept as text, for a database may write a number its own way
    and the fingerprint would not fit any more.
    """
    record = page.record
    return {
        "record": record.pk,
        "place": f"{record.lane}, {record.position}",
        "technology": record.technology,
        "template": str(record.template),
        "stage": view.stage.key,
        "title": view.stage.title,
        "role": role.value,
        "name_signed": name,
        "signed_by": by.get_username(),
        "signed_at": _utc(at),
        "items": [_item_truth(one, record) for one in view.items],
    }


def _utc(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat(timespec="microseconds")


def _item_truth(one: ItemView, record: InstallationRecord) -> dict[str, Any]:
    entry, decided = one.entry, one.disposition
    told: dict[str, Any] = {
        "key": one.spec.key,
        "prompt": one.spec.prompt,
        "kind": one.spec.kind.value,
        "asked": one.asked,
        "verdict": one.finding.state.value,
        "sentence": one.finding.sentence,
        "limit": one.limit_words,
        "limit_source": one.limit_source_words,
        "standing": one.standing,
        "photos": [[photo.pk, photo.sha256] for photo in one.live_photos],
        "entry": _entry_truth(one, record) if entry is not None else None,
        "disposition": None,
    }
    if decided is not None:
        told["disposition"] = {
            "kind": decided.kind,
            "decided_by": decided.decided_by,
            "reason": decided.reason,
        }
    return told


def _entry_truth(one: ItemView, record: InstallationRecord) -> dict[str, Any]:
    entry = one.entry
    assert entry is not None  # noqa: S101 - told to the type checker
    answer = answer_of(entry, zone=ZoneInfo(record.lane.wim_site.time_zone))
    return {
        "pk": entry.pk,
        "words": one.answer_words,
        "typed": [list(pair) for pair in entry.typed],
        "numbers": [repr(number) for number in entry.numbers],
        "over_range": entry.over_range,
        "answer": entry.answer,
        "reason": entry.reason,
        "by": entry.entered_by.get_username(),
        "observed_at": _utc(entry.observed_at),
        "instrument": answer.instrument if answer else "",
        "instrument_due_on": _iso(answer.instrument_due_on if answer else None),
        "batch": answer.batch if answer else "",
        "batch_expires_on": _iso(answer.batch_expires_on if answer else None),
    }


def _iso(day: dt.date | None) -> str:
    return day.isoformat() if day else ""


def fingerprint(truth: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON: keys sorted, no spaces, UTF-8."""
    text = json.dumps(
        truth,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
    )
    return hashlib.sha256(text.encode()).hexdigest()


def signoff_is_intact(signoff: SignOff) -> bool:
    """Whether nothing of what was signed has been changed since.

    The fingerprint must fit what is kept, and what is kept must name the signature's
    own record, stage, role, name and time.
    """
    truth = signoff.what_was_true
    return (
        fingerprint(truth) == signoff.fingerprint
        and truth.get("record") == signoff.record_id
        and truth.get("stage") == signoff.stage.key
        and truth.get("role") == signoff.role
        and truth.get("name_signed") == signoff.name_signed
        and truth.get("signed_at") == _utc(signoff.signed_at)
    )


def refuse_unsigned(page: RecordPage) -> None:
    """Refuse, naming them, stages that are not signed and answers that were rejected.

    Raises
    ------
    DomainError
    """
    complaints = [
        Complaint(
            "It is not signed."
            if one.state is not StageState.CORRECTED
            else "It was corrected since it was signed; it has to be signed again.",
            field=f"{one.stage.number}. {one.stage.title}",
            remedy=f"Missing: {', '.join(one.missing_roles)}.",
        )
        for one in page.stages
        if one.state is not StageState.SIGNED
    ]
    complaints += [
        Complaint(
            "Its answer was rejected.",
            field=one.spec.prompt,
            value=one.answer_words,
            remedy="Rework it and answer again, or close the record as rejected.",
        )
        for one in page.rejected
    ]
    if complaints:
        n = len(complaints)
        raise DomainError(
            str(complaints[0])
            if n == 1
            else f"The record cannot be accepted: {n} things stand against it.",
            tuple(complaints),
        )
