"""The tolerance standards with the agency's own values, and what they say of sessions.

:func:`agency_values` is the one place where stored values become what a judgement
takes; :func:`calibration.selectors.judging.conditions_of` puts them into it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calibration.models import CalibrationSession, RunStage, StandardValue
from sites.selectors import program_get

if TYPE_CHECKING:
    from calibration.calc.judging_side_by_side import SideBySide
    from calibration.calc.standards.base import EditableValue, ToleranceStandard


def agency_values(standard: str | None = None) -> dict[str, dict[str, Any]]:
    """The agency's own values by standard and key, in one query.

    Parameters
    ----------
    standard
        Of one standard only.

    Returns
    -------
    dict
        {key of standard: {key of value: (value, its source)}}; standards without any
        are left out.
    """
    rows = StandardValue.objects.all()
    if standard is not None:
        rows = rows.filter(standard=standard)
    found: dict[str, dict[str, Any]] = defaultdict(dict)
    for row in rows.order_by("standard", "key"):
        found[row.standard][row.key] = (row.value, row.source)
    return dict(found)


def _shown(value: float, unit: str) -> str:
    return f"{value:,.10g} {unit}".rstrip()


@dataclass(frozen=True)
class ValueRow:
    """One value of a standard that an agency may set, and its own where it has one."""

    value: EditableValue
    own: StandardValue | None

    @property
    def in_use(self) -> float:
        """The value that judgements rest on, in its unit."""
        return self.own.value if self.own else self.value.value

    @property
    def in_use_text(self) -> str:
        """The value in use with its unit."""
        return _shown(self.in_use, self.value.unit)

    @property
    def recalled_text(self) -> str:
        """The recalled value with its unit."""
        return _shown(self.value.value, self.value.unit)

    @property
    def standing(self) -> str:
        """How sure the value in use is."""
        return f"agency’s own ({self.own.source})" if self.own else self.value.standing


@dataclass(frozen=True)
class StandardPage:
    """A standard with its values."""

    standard: ToleranceStandard
    rows: tuple[ValueRow, ...]

    @property
    def n_own(self) -> int:
        """How many values are the agency's own."""
        return sum(row.own is not None for row in self.rows)

    @property
    def n_from_memory(self) -> int:
        """How many values in use were not held against the document."""
        return sum(
            row.own is None and row.value.standing != "confirmed" for row in self.rows
        )


def standard_pages() -> list[StandardPage]:
    """Every standard with its values, in one query."""
    from calibration.calc.standards import all_standards

    own = {(one.standard, one.key): one for one in StandardValue.objects.all()}
    return [_page(one, own) for one in all_standards().values()]


def standard_page(key: str) -> StandardPage | None:
    """One standard with its values; None where there is no such standard."""
    return next((one for one in standard_pages() if one.standard.key == key), None)


def value_row(standard: str, key: str) -> ValueRow | None:
    """One value of a standard; None where there is no such value."""
    page = standard_page(standard)
    rows = page.rows if page else ()
    return next((row for row in rows if row.value.key == key), None)


def _page(
    standard: ToleranceStandard, own: dict[tuple[str, str], StandardValue]
) -> StandardPage:
    from calibration.calc.standards.base import editable_values

    return StandardPage(
        standard,
        tuple(
            ValueRow(one, own.get((standard.key, one.key)))
            for one in editable_values(standard)
        ),
    )


@dataclass(frozen=True)
class ValueChange:
    """One change of an agency's value."""

    at: Any
    who: str
    how: str
    why: str


_HOW = {"+": "set to", "~": "changed to", "-": "returned to the recalled value from"}


def value_changes(standard: str, key: str) -> list[ValueChange]:
    """Who set a value, to what, and why, newest first; also after its return."""
    rows = (
        StandardValue.history.filter(standard=standard, key=key)
        .select_related("history_user")
        .order_by("-history_date", "-history_id")
    )
    return [
        ValueChange(
            at=row.history_date,
            who=(row.history_user.get_full_name() or row.history_user.get_username())
            if row.history_user
            else "–",
            how=f"{_HOW[row.history_type]} {row.value:g} ({row.source})",
            why=row.history_change_reason or "",
        )
        for row in rows
    ]


@dataclass(frozen=True)
class StageSideBySide:
    """The runs of one stage under every standard."""

    stage: str
    n_used: int
    n_set_aside: int
    table: SideBySide


def session_side_by_side(session: CalibrationSession) -> list[StageSideBySide]:
    """As found and as left under every standard; only those with runs.

    Under the session's own standard the class asked for is judged, under the others the
    best class attained is found.
    """
    from calibration.calc.judging_side_by_side import judge_side_by_side
    from calibration.selectors.judging import conditions_of, session_runs, stage_errors

    runs = session_runs(session)
    conditions = conditions_of(session, program_get().unit_system)
    stages = []
    for stage in RunStage.values:
        own = [run for run in runs if run.stage == stage]
        if not own:
            continue
        errors = stage_errors(own)
        table = judge_side_by_side(
            errors, conditions, {session.standard: session.wanted_class}
        )
        n_used = len(errors.runs_used)
        stages.append(StageSideBySide(stage, n_used, len(own) - n_used, table))
    return stages


def side_by_side_cells(
    stages: Iterable[StageSideBySide],
) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the side by side tables, for a spreadsheet."""
    headings = [
        "stage", "standard", "edition", "class judged", "class asked for",
        "class attained", "criterion", "n", "statistic", "value", "unit", "low", "high",
        "level", "limit", "margin", "margin unit", "verdict", "rule", "standing",
        "sentence", "does not cover",
    ]  # fmt: skip
    rows = []
    for stage in stages:
        uncovered = {one.standard: one.does_not_cover for one in stage.table.verdicts}
        for one in stage.table.rows:
            span = one.interval
            rows.append(
                [
                    stage.stage, one.title, one.edition, one.judged_class,
                    one.wanted_class, one.attained_class, one.criterion, one.n,
                    one.statistic, one.value, one.unit, span.low if span else None,
                    span.high if span else None, span.level if span else None,
                    one.limit, one.margin, one.margin_unit, one.verdict.value, one.rule,
                    one.standing, one.sentence, uncovered[one.standard],
                ]
            )  # fmt: skip
    return headings, rows
