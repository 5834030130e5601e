"""The report as PDF and XLSX. The same facts give the same bytes."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Sequence
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from quality.report.pictures import all_pictures
from quality.report.sections import NO_DATA, ReportTable, Section, plain
from quality.report.types import YearFacts
from wimprog.lib.paper import set_pdf
from wimprog.lib.tables import safe_cell

TEMPLATE = Path(__file__).with_name("report.typ")
METHOD_VERSION = "1"
SHEET_NAME_LIMIT = 31


def title_of(facts: YearFacts) -> str:
    """What the report is called."""
    return f"Weigh-in-motion data quality {facts.year}"


def made_of(facts: YearFacts) -> str:
    """What the report rests on, for its foot."""
    return f"As of {facts.as_of}; wimprog report method {METHOD_VERSION}"


def report_pdf(
    facts: YearFacts, sections: Sequence[Section], *, paper: str = "us-letter"
) -> bytes:
    """The report as a tagged PDF (PDF/UA-1).

    Every picture carries its text; the page setter refuses one that has none.
    """
    found = list(all_pictures(facts))
    data = {
        "title": title_of(facts),
        "agency": facts.agency,
        "scope": facts.scope,
        "made": made_of(facts),
        "paper": paper,
        "sections": [plain(section) for section in sections],
        "pictures": {
            picture.key: {
                "path": f"{picture.key}.svg",
                "alt": picture.alt,
                "caption": picture.caption,
            }
            for picture in found
        },
    }
    return set_pdf(TEMPLATE, data, {f"{one.key}.svg": one.svg for one in found})


def _sheet_name(section: Section, table: ReportTable, taken: set[str]) -> str:
    base = f"{section.title}: {table.title}" if len(section.tables) > 1 else ""
    base = (base or section.title).replace("/", "-").replace(":", " -")
    name = base[:SHEET_NAME_LIMIT]
    n = 2
    while name in taken:
        name = f"{base[: SHEET_NAME_LIMIT - 3]} {n}"
        n += 1
    taken.add(name)
    return name


def _cell(value: object) -> object:
    return NO_DATA if value is None else safe_cell(value)


def report_xlsx(facts: YearFacts, sections: Sequence[Section]) -> bytes:
    """The tables behind the report, one sheet each, numbers as numbers."""
    book = Workbook()
    first = book.active
    first.title = "Read me first"
    first.append([title_of(facts)])
    first["A1"].font = Font(bold=True, size=14)
    first.append([f"{facts.agency}, {facts.scope}"])
    first.append([made_of(facts)])
    for section in sections:
        first.append([])
        first.append([section.title])
        first.cell(first.max_row, 1).font = Font(bold=True)
        for paragraph in section.paragraphs:
            first.append([_cell(paragraph)])
            first.cell(first.max_row, 1).alignment = Alignment(
                wrap_text=True, vertical="top"
            )
    first.column_dimensions["A"].width = 110
    taken = {first.title}
    for section in sections:
        for table in section.tables:
            sheet = book.create_sheet(_sheet_name(section, table, taken))
            sheet.append(list(table.headings))
            for cell in sheet[1]:
                cell.font = Font(bold=True)
                cell.alignment = Alignment(wrap_text=True, vertical="top")
            for row in table.rows:
                sheet.append([_cell(value) for value in row])
            sheet.freeze_panes = "B2"
            for i in range(1, len(table.headings) + 1):
                sheet.column_dimensions[get_column_letter(i)].width = 16
    stamp = dt.datetime.combine(facts.as_of, dt.time())
    book.properties.created = stamp
    book.properties.modified = stamp
    book.properties.creator = "wimprog"
    raw = io.BytesIO()
    book.save(raw)
    return _same_bytes(raw.getvalue(), facts.as_of)


def _same_bytes(content: bytes, as_of: dt.date) -> bytes:
    """The workbook with the clock taken out of its archive and its properties."""
    out = io.BytesIO()
    stamp = (max(as_of.year, 1980), as_of.month, as_of.day, 0, 0, 0)
    modified = f"{as_of.isoformat()}T00:00:00Z".encode()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for info in old.infolist():
            body = old.read(info)
            if info.filename == "docProps/core.xml":
                head, _, rest = body.partition(b"<dcterms:modified")
                opening, _, tail = rest.partition(b">")
                _, closing, after = tail.partition(b"</dcterms:modified>")
                body = (
                    head
                    + b"<dcterms:modified"
                    + opening
                    + b">"
                    + modified
                    + closing
                    + after
                )
            entry = zipfile.ZipInfo(info.filename, date_time=stamp)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, body)
    return out.getvalue()
