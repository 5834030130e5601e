"""From a year to a report in a file: the one door for pages and the command."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from quality.models import LaneMonth
from quality.report.facts import year_facts
from quality.report.outlook import replacement_outlook
from quality.report.sections import Section, all_sections
from quality.report.types import YearFacts
from quality.report.writers import report_pdf, report_xlsx
from sites.models import Program, Site
from wimprog.lib.paper import PDF, paper_size
from wimprog.lib.tables import XLSX

FORMATS = ("pdf", "xlsx")


@dataclass(frozen=True)
class ReportFile:
    """A report ready to be saved or sent."""

    name: str
    content: bytes
    content_type: str


def years_with_data(today: dt.date) -> list[int]:
    """Years that hold records, newest first, and this year."""
    months = LaneMonth.objects.dates("month", "year", order="DESC")
    return sorted({today.year, *(month.year for month in months)}, reverse=True)


def sections_of(
    *, program: Program, year: int, as_of: dt.date, wim_site: Site | None
) -> tuple[YearFacts, tuple[Section, ...]]:
    """The year's facts and all its sections."""
    facts = year_facts(program=program, year=year, as_of=as_of, wim_site=wim_site)
    outlook = replacement_outlook(program=program, today=as_of, wim_site=wim_site)
    return facts, all_sections(facts, extra=(outlook,))


def report_file(
    *, program: Program, year: int, as_of: dt.date, wim_site: Site | None, fmt: str
) -> ReportFile:
    """The year's report as ``pdf`` or ``xlsx``.

    Raises
    ------
    ValueError
        For any other format.
    """
    if fmt not in FORMATS:
        raise ValueError(f"fmt must be one of {', '.join(FORMATS)}; got {fmt!r}")
    facts, sections = sections_of(
        program=program, year=year, as_of=as_of, wim_site=wim_site
    )
    scope = "program" if wim_site is None else wim_site.code
    name = f"data-quality-{year}-{scope}.{fmt}"
    if fmt == "xlsx":
        return ReportFile(name, report_xlsx(facts, sections), XLSX)
    paper = paper_size(program.unit_system)
    return ReportFile(name, report_pdf(facts, sections, paper=paper), PDF)
