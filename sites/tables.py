"""The list of surveys, and the sheet of a comparison."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import mark_safe

from sites.calc.suitability.assessing import Suitability
from sites.models import SiteSurvey
from sites.selectors import StudyComparison, suitability_settings, survey_judged
from wimprog.lib.marks import condition_mark_svg
from wimprog.lib.tables import NO_DATA, Table


class SurveyTable(Table):
    """One row a survey, newest first, with what it comes to."""

    caption = "Surveys"
    place = tables.Column(
        "Place", empty_values=(), order_by=("wim_site__code", "place")
    )
    study = tables.Column(default="none")
    surveyed_on = tables.Column("Surveyed", attrs={"td": {"class": "date"}})
    surveyed_by = tables.Column("By")
    wanted_type = tables.Column("Wanted")
    verdict = tables.Column(empty_values=(), orderable=False)
    fails_first = tables.Column(
        "Fails first, or is closest to it", empty_values=(), orderable=False
    )

    class Meta(Table.Meta):
        empty_text = "No survey matches."

    def __init__(self, *args: Any, system: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.settings = suitability_settings(system)
        self._judged: dict[int, Suitability] = {}

    def _of(self, survey: SiteSurvey) -> Suitability:
        if survey.pk not in self._judged:
            self._judged[survey.pk] = survey_judged(survey, self.settings)
        return self._judged[survey.pk]

    def render_place(self, record: SiteSurvey) -> str:
        route = " ".join(part for part in (record.route, record.location_ref) if part)
        return format_html(
            '<a href="{}">{}</a> <span class="quiet">{}</span>',
            record.get_absolute_url(),
            str(record),
            route,
        )

    def render_study(self, value: str) -> str:
        query = urlencode({"study": value})
        return format_html(
            '<a href="{}?{}">{}</a>', reverse("sites:study"), query, value
        )

    def render_surveyed_on(self, value: dt.date) -> str:
        return f"{value.day} {value:%b %Y}"

    def render_verdict(self, record: SiteSurvey) -> str:
        found = self._of(record)
        n_known = sum(one.is_known for one in found.conditions)
        mark = mark_safe(condition_mark_svg(found.verdict))  # noqa: S308 (drawn by us)
        return format_html(
            '<span class="condition">{} {}</span> <span class="quiet">n {} of {} '
            "conditions</span>",
            mark,
            found.verdict.value,
            n_known,
            len(found.conditions),
        )

    def render_fails_first(self, record: SiteSurvey) -> str:
        line = self._of(record).fails_first
        if line is None:
            return NO_DATA
        return f"{line.name}, {line.margin_text}" if line.margin_text else line.name


STUDY_HEADINGS = (
    "rank", "candidate", "why it stands there", "surveyed on", "surveyed by", "wanted",
    "standard", "edition", "counts", "quantity", "measured", "limit", "margin",
    "verdict", "to mend", "rule", "standing of the limit", "can carry by this standard",
)  # fmt: skip


def study_sheet(found: StudyComparison) -> Iterator[list[Any]]:
    """Every condition of every candidate, best candidate first, for a spreadsheet."""
    for place, rival in enumerate(found.rivals):
        for standard in found.standards:
            for row in standard.rows:
                cell = row.cells[place]
                if cell is None:
                    continue
                line = cell.line
                yield [
                    rival.ranked.rank,
                    rival.ranked.name,
                    rival.ranked.sentence,
                    rival.survey.surveyed_on,
                    rival.survey.surveyed_by,
                    found.wanted,
                    standard.title,
                    standard.edition,
                    "against the location" if line.is_governing else "as advice",
                    line.name,
                    cell.measured,
                    line.judgement.limit,
                    line.margin_text,
                    line.state.value,
                    line.mend,
                    line.judgement.rule,
                    line.judgement.standing,
                    standard.carries[place],
                ]
