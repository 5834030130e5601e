"""The base of our tables: numbers aligned, no data said in words, exports alike."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

import django_tables2 as tables
from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.styles import Font

from wimprog.lib.units import format_number
from wimprog.lib.web import attachment

NO_DATA = "no data"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Table(tables.Table):
    """Base of all tables; 25 rows a page, "no data" for what is not known."""

    class Meta:
        template_name = "includes/_table.html"
        default = NO_DATA
        per_page = 25


class NumberColumn(tables.Column):
    """A number with its digits; the unit stands in the heading."""

    def __init__(self, *args: Any, digits: int = 1, **kwargs: Any) -> None:
        kwargs.setdefault(
            "attrs", {"td": {"class": "number"}, "th": {"class": "number"}}
        )
        super().__init__(*args, **kwargs)
        self.digits = digits

    def render(self, value: Any) -> str:
        return format_number(float(value), self.digits)


def safe_cell(value: Any) -> Any:
    """A cell that a spreadsheet will not run as a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "@", "\t", "\r"):
        return "'" + value
    return value


def export_rows(
    *,
    name: str,
    fmt: str,
    headings: Sequence[str],
    rows: Iterable[Sequence[Any]],
    note: str = "",
) -> HttpResponse:
    """Rows as a CSV or XLSX download.

    Parameters
    ----------
    name
        File name without its ending.
    fmt
        ``csv`` or ``xlsx``.
    note
        Where the rows come from; the last line of the sheet.
    """
    if fmt == "csv":
        buffer = io.StringIO()
        writer = csv.writer(buffer)
        writer.writerow(headings)
        writer.writerows([safe_cell(cell) for cell in row] for row in rows)
        return attachment(
            buffer.getvalue().encode("utf-8-sig"),
            name=f"{name}.csv",
            content_type="text/csv; charset=utf-8",
        )
    book = Workbook()
    sheet = book.active
    sheet.append(list(headings))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    for row in rows:
        sheet.append([safe_cell(cell) for cell in row])
    if note:
        sheet.append([])
        sheet.append([note])
    content = io.BytesIO()
    book.save(content)
    return attachment(content.getvalue(), name=f"{name}.xlsx", content_type=XLSX)
