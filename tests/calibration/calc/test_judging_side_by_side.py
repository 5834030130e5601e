"""The same runs under all standards: one row a criterion, nothing lost."""

import json
import sys

import pytest

from calibration.calc import standards
from calibration.calc.judging_side_by_side import judge_side_by_side
from calibration.calc.standards import all_standards
from calibration.calc.standards.base import Conditions
from calibration.calc.types import Quantity
from tests.calibration.calc.build import errors_of, set_of, with_moments
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

RUNS = {
    Quantity.GROSS_WEIGHT: with_moments(40, 1.2, 3.5),
    Quantity.AXLE_GROUP: with_moments(40, 0.8, 4.6),
    Quantity.SINGLE_AXLE: with_moments(40, -2.1, 5.2),
    Quantity.AXLE: with_moments(40, -0.5, 5.0),
}


def test_each_standard_has_its_system_first_and_all_its_criteria():
    table = judge_side_by_side(set_of(RUNS))
    assert list(dict.fromkeys(row.standard for row in table.rows)) == list(
        all_standards()
    )
    for verdict in table.verdicts:
        system, *criteria = table.rows_of(verdict.standard)
        assert system.is_system
        assert system.verdict is verdict.verdict
        assert [row.criterion for row in criteria] == [
            str(one.quantity) for one in verdict.judgements
        ]
    assert table.attained["cost-323"] == "B(10)"


def test_every_row_that_says_yes_or_no_states_its_ground():
    table = judge_side_by_side(errors_of(with_moments(40, 1.2, 3.5)))
    judged = [row for row in table.rows if row.verdict is not Verdict.CANNOT_SAY]
    assert len(judged) > 10
    for row in judged:
        assert row.n > 0
        assert None not in (row.value, row.interval, row.margin)
        assert "" not in (row.statistic, row.limit, row.margin_unit, row.rule)
        assert row.standing
        # Within is positive, outside negative; the limit itself is within.
        assert (row.margin >= -1e-9) == (row.verdict is Verdict.MEETS), row


@pytest.mark.parametrize(("mean", "sd"), [(0, 2), (4, 4), (-9, 3), (0, 12)])
def test_margins_agree_with_verdicts_for_good_and_bad_runs(mean, sd):
    runs = {quantity: with_moments(40, mean, sd) for quantity in RUNS}
    rows = judge_side_by_side(set_of(runs), Conditions(is_initial=True)).rows
    for row in rows:
        if row.verdict is not Verdict.CANNOT_SAY and not row.is_system:
            assert (row.margin >= -1e-9) == (row.verdict is Verdict.MEETS), row


def test_no_data_is_no_data():
    for row in judge_side_by_side(errors_of([])).rows:
        assert row.verdict is Verdict.CANNOT_SAY
        assert (row.n, row.value, row.interval, row.margin) == (0, None, None, None)


def test_a_class_is_asked_by_key_of_standard():
    table = judge_side_by_side(
        set_of(RUNS), wanted={"COST-323": "a(5)", "astm-e1318": "Type II"}
    )
    (cost, *_) = table.rows_of("cost-323")
    assert (cost.wanted_class, cost.judged_class) == ("A(5)", "A(5)")
    assert (cost.attained_class, cost.verdict) == ("B(10)", Verdict.MISSES)
    assert table.rows_of("ltpp")[0].wanted_class is None
    with pytest.raises(DomainError, match="no tolerance standard “nowhere”"):
        judge_side_by_side(set_of(RUNS), wanted={"nowhere": "A"})
    with pytest.raises(DomainError, match="COST 323 has no class"):
        judge_side_by_side(set_of(RUNS), wanted={"cost-323": "Type I"})


def test_json_tells_what_is_not_covered():
    table = json.loads(json.dumps(judge_side_by_side(set_of(RUNS)).as_dict()))
    assert set(table["does_not_cover"]) == set(all_standards())
    assert {row["verdict"] for row in table["rows"]} <= set(Verdict)


def test_a_new_file_is_a_new_block_of_rows(tmp_path, monkeypatch):
    """One file and no change elsewhere; it need not have editable values."""
    (tmp_path / "two_line_rule.py").write_text(
        "from calibration.calc.standards import nist_hb44\n"
        "class Rule(nist_hb44.NistHandbook44):\n"
        "    pass\n"
        "STANDARD = Rule(key='two-line-rule', title='Two-line rule')\n"
    )
    monkeypatch.setattr(standards, "__path__", [*standards.__path__, str(tmp_path)])
    name = "calibration.calc.standards.two_line_rule"
    try:
        table = judge_side_by_side(set_of(RUNS), wanted={"two-line-rule": "Class A"})
        assert table.rows_of("two-line-rule")[0].title == "Two-line rule"
    finally:
        sys.modules.pop(name, None)
        if hasattr(standards, "two_line_rule"):
            delattr(standards, "two_line_rule")
