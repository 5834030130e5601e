"""The as-built record: what was found at every stage, who signed, what stays open."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from django.conf import settings
from PIL import Image

from installs.models import ElectricalTest, InstallationRecord, Photo, SignOff
from installs.papers.parts import at_words, head_of, plan_parts
from installs.selectors import record_page
from installs.selectors.record_entries import disposition_of
from installs.selectors.records import ItemView, RecordPage, StageView
from installs.services import signoff_is_intact
from sites.models import Program
from wimprog.lib import clock
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.units import UnitSystem
from wimprog.lib.version import version

TEMPLATE = Path(__file__).with_name("as_built.typ")
PAPER_EDGE_PX = 1_100
METHOD = (
    "Every answer is shown as it was typed, with its unit. A verdict holds the answer "
    "against the limit beside it; the limit names whose it is. “Common practice, no "
    "source” is a custom of the trade that no document was found for.",
    "An answer is never changed: a later one stands below the earlier one, with its "
    "reason. An answer out of its limits carries the decision about it, or is listed "
    "as open.",
    "The fingerprint (SHA-256) is of the stage’s answers and verdicts as they stood "
    "when it was signed; “stands” means that it still agrees with what is kept.",
)


def as_built_pdf(record: InstallationRecord, *, program: Program) -> bytes:
    """The record as a tagged PDF, in the program's units."""
    system = UnitSystem(program.unit_system)
    zone = record.lane.wim_site.time_zone
    page = record_page(record)
    plan, pictures = plan_parts(record.plan, system)
    photos, files, missing = _photos(page, zone)
    data = {
        "title": f"As-built record: {record.position} in {record.lane}",
        "agency": program.name,
        "paper": paper_size(program.unit_system),
        "state": f"record {record.pk}: {record.state}",
        "made": f"As of {clock.today(zone)}; wimprog {version()}",
        "head": [
            *head_of(record, program),
            ["State", record.state],
            *(
                [["In service since", record.installation.installed_on.isoformat()]]
                if record.installation
                else []
            ),
        ],
        "summary": _summary(page),
        "open": [
            f"{one.item.stage.title}, {one.spec.prompt}: {one.finding.sentence}"
            for one in page.open_dispositions
        ]
        + missing,
        "stages": [_stage(view, zone) for view in page.stages],
        "tests": _tests(record, zone),
        "photos": photos,
        "method": list(METHOD),
        **plan,
    }
    return set_pdf(TEMPLATE, data, {**pictures, **files})


def _summary(page: RecordPage) -> list[str]:
    signed = [view for view in page.stages if view.signoffs and not view.missing_roles]
    accepted = [
        one
        for view in page.stages
        for one in view.items
        if one.disposition and one.disposition.kind == "accepted as it is"
    ]
    return [
        f"{page.n_answered} of {page.n_items} items answered.",
        f"{len(signed)} of {len(page.stages)} stages signed by all that have to.",
        f"{len(accepted)} answers out of limits accepted as they are; "
        f"{len(page.open_dispositions)} without a decision.",
        f"{len(page.photos)} photos.",
    ]


def _stage(view: StageView, zone: str) -> dict[str, Any]:
    rows: list[list[str]] = []
    for one in view.items:
        rows += _rows(one, zone)
    return {
        "number": view.stage.number,
        "title": view.stage.title,
        "state": str(view.state),
        "rows": rows,
        "notes": [note for one in view.items for note in _notes(one)],
        "signatures": [_signature(sign, zone) for sign in view.signoffs],
    }


def _rows(one: ItemView, zone: str) -> list[list[str]]:
    if not one.asked:
        return []
    limit = " · ".join(
        part for part in (one.limit_words, one.limit_source_words) if part
    )
    number, prompt = str(one.item.number), one.spec.prompt
    if not one.history:
        state = str(one.finding.state)
        found = f"{len(one.live_photos)} photos" if one.photos else ""
        return [[number, prompt, found, limit, state, ""]]
    rows = []
    for place, entry in enumerate(one.history):
        is_last = place == len(one.history) - 1
        by = entry.entered_by.get_full_name() or entry.entered_by.get_username()
        meter = ""
        if entry.instrument:
            meter = f"; {entry.instrument}"
        rows.append(
            [
                number if place == 0 else "",
                prompt if place == 0 else "answered again",
                f"{entry.answer_words}{meter}",  # type: ignore[attr-defined]
                limit if is_last else "",
                str(entry.finding.state),  # type: ignore[attr-defined]
                f"{by}, {at_words(entry.observed_at, zone)}"
                + (f", from {entry.written_by}’s sheet" if entry.written_by else ""),
            ]
        )
    return rows


def _notes(one: ItemView) -> list[str]:
    """Reasons given, and what was decided, in the order of the answers."""
    notes = []
    for entry in one.history:
        if entry.reason:
            after = ", after signing" if entry.after_signing else ""
            notes.append(f"{one.item.number}, reason given{after}: {entry.reason}")
        decided = disposition_of(entry)
        if decided is not None:
            notes.append(
                f"{one.item.number}, decided on "
                f"“{entry.answer_words}”: {decided.kind}, by "  # type: ignore[attr-defined]
                f"{decided.decided_by}: {decided.reason}"
            )
    return notes


def _signature(sign: SignOff, zone: str) -> dict[str, str]:
    stands = signoff_is_intact(sign)
    return {
        "role": sign.role,
        "name": sign.name_signed,
        "account": sign.signed_by.get_username(),
        "at": at_words(sign.signed_at, zone),
        "fingerprint": sign.fingerprint[:16],
        "standing": "It stands."
        if stands
        else "IT NO LONGER AGREES WITH WHAT IS KEPT.",
    }


def _tests(record: InstallationRecord, zone: str) -> dict[str, Any]:
    headings = ["When", "Stage", "Instrument", "Readings"]
    if record.installation is None:
        return {"headings": headings, "rows": []}
    tests = (
        ElectricalTest.objects.filter(installation=record.installation)
        .order_by("tested_at")
        .prefetch_related("readings")
        .select_related("instrument_used")
    )
    return {
        "headings": headings,
        "rows": [
            [
                at_words(test.tested_at, zone),
                test.stage,
                str(test.instrument_used or test.instrument or ""),
                "; ".join(
                    f"{r.quantity} {r.typed or r.value}" for r in test.readings.all()
                ),
            ]
            for test in tests
        ],
    }


def _photos(
    page: RecordPage, zone: str
) -> tuple[list[dict[str, str]], dict[str, bytes], list[str]]:
    """Photos for the paper, their files, and what is said of those missing."""
    told, files, missing = [], {}, []
    for photo in page.photos:
        if photo.struck_at is not None:
            continue
        what = photo.caption or photo.item.prompt
        content = _picture(photo)
        if content is None:
            missing.append(f"Photo {photo.pk}, {what}: its file is missing.")
            continue
        name = f"photo-{photo.pk}.jpg"
        files[name] = content
        told.append(
            {
                "path": name,
                "alt": what,
                "caption": f"{what} ({at_words(photo.added_at, zone)})",
            }
        )
    return told, files, missing


def _picture(photo: Photo) -> bytes | None:
    """The photo at the size that paper carries."""
    try:
        content = (Path(settings.UPLOAD_DIR) / photo.picture).read_bytes()
    except FileNotFoundError:
        return None
    if max(photo.width_px, photo.height_px) <= PAPER_EDGE_PX:
        return content
    with Image.open(io.BytesIO(content)) as picture:
        picture.thumbnail((PAPER_EDGE_PX, PAPER_EDGE_PX))
        smaller = io.BytesIO()
        picture.save(smaller, "JPEG", quality=82)
    return smaller.getvalue()
