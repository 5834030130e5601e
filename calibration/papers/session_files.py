"""A session as files: one workbook with everything, and JSON for machines."""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from calibration.calc.sealing import plain
from calibration.papers.method import method_of
from calibration.papers.parts import (
    hashes,
    head_of,
    rule_title,
    signature_parts,
    stage_line,
    versions,
)
from calibration.selectors.record import SessionRecord
from calibration.selectors.record_cells import (
    error_cells,
    factor_cells,
    judgement_cells,
    statistic_cells,
    weighing_cells,
)
from calibration.selectors.record_facts import record_data
from calibration.selectors.tabulated import run_cells
from calibration.services.results import inputs_of, inputs_sha256
from sites.models import Program
from wimprog.lib.tables import safe_cell

SHEETS = {
    "Runs": "Every run in use or set aside, with its static reference and its errors.",
    "Errors": "Every single error: the lane’s value, the reference, their difference.",
    "Weighings": "Static weighings with what is known of their uncertainty.",
    "Results": "Mean, spread, intervals and share within the tolerance, by quantity.",
    "Judgements": "Every criterion of every standard, with its limit and standing.",
    "Factors": "Factors before and after, and what the runs ask for.",
}


def session_json(record: SessionRecord) -> bytes:
    """The record for machines, with each stage's inputs and their hash.

    The SHA-256 of an entry of ``inputs`` as canonical JSON (keys sorted, no spaces,
    ASCII) is the hash that the papers print.
    """
    data = record_data(record)
    data["inputs"] = {
        one.name: {
            "sha256": inputs_sha256(record.session, one.judged.runs),
            "inputs": inputs_of(record.session, one.judged.runs),
        }
        for one in record.stages
    }
    text = json.dumps(plain(data), indent=1, ensure_ascii=False, allow_nan=False)
    return text.encode()


def session_workbook(record: SessionRecord, *, program: Program) -> bytes:
    """All of it in one workbook, numbers as numbers."""
    book = Workbook()
    first = book.active
    _read_me(first, record, program)
    stages = [one.judged for one in record.stages]
    system, zone = record.system, record.zone
    tables = {
        "Runs": run_cells(stages, system=system, zone=zone),
        "Errors": error_cells(stages),
        "Weighings": weighing_cells(record.weighings, system=system, zone=zone),
        "Results": statistic_cells(stages),
        "Judgements": judgement_cells(stages),
        "Factors": factor_cells(record),
    }
    for name, (headings, rows) in tables.items():
        _sheet(book.create_sheet(name), headings, rows)
    stamp = dt.datetime.combine(record.session.held_on, dt.time())
    book.properties.created = book.properties.modified = stamp
    book.properties.creator = "wimprog"
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


def _sheet(
    sheet: Worksheet, headings: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    sheet.append(list(headings))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    for row in rows:
        sheet.append([safe_cell(value) for value in row])
    sheet.freeze_panes = "C2"
    for place in range(1, len(headings) + 1):
        sheet.column_dimensions[get_column_letter(place)].width = 15


def _read_me(sheet: Worksheet, record: SessionRecord, program: Program) -> None:
    sheet.title = "Read me first"
    sheet.column_dimensions["A"].width = 34
    sheet.column_dimensions["B"].width = 100

    def heading(words: str) -> None:
        sheet.append([])
        sheet.append([words])
        sheet.cell(sheet.max_row, 1).font = Font(bold=True)

    sheet.append([f"Calibration session: {record.session}"])
    sheet["A1"].font = Font(bold=True, size=14)
    sheet.append([versions()])
    heading("Session")
    for pair in head_of(record, program):
        sheet.append([safe_cell(one) for one in pair])
    heading("What it comes to")
    for stage in record.stages:
        verdict = stage.own_verdict
        sheet.append([stage.name, stage_line(stage)])
        sheet.append(
            [
                rule_title(verdict),
                f"{verdict.verdict.value}: {verdict.overall.sentence}",
            ]
        )
    signed = signature_parts(record)
    heading("Signatures")
    for sign in signed["signatures"]:
        who = f"{sign['name']} (account {sign['account']}), {sign['at']}"
        sheet.append([sign["role"], safe_cell(f"{who}. {sign['standing']}")])
        sheet.append(["fingerprint", sign["fingerprint"]])
    if signed["unsigned"]:
        sheet.append([signed["unsigned"]])
    heading("Sheets")
    for name, told in SHEETS.items():
        sheet.append([name, told])
    sheet.append(
        [
            "Units",
            "Runs and weighings in the units of their headings; errors and results in "
            "per cent, km/h and m as the column “unit” says.",
        ]
    )
    heading("Hash of the inputs (SHA-256)")
    for row in hashes(record):
        sheet.append([row[0], f"{row[1]}: {row[2]}"])
    heading("Method")
    for pair in method_of(record.system, versions()):
        sheet.append(pair)
    for line in sheet.iter_rows(min_row=3):
        for cell in line:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
