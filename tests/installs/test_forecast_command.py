"""``manage.py forecast``: a table, JSON, and an exit status that a script can trust."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import CommandError, call_command

from tests import factories

pytestmark = pytest.mark.django_db


def run(*args):
    out, err, status = io.StringIO(), io.StringIO(), 0
    try:
        call_command("forecast", *args, stdout=out, stderr=err)
    except SystemExit as left:
        status = int(left.code or 0)
    return status, out.getvalue(), err.getvalue()


def test_json_holds_what_the_forecast_rests_on(world):
    factories.TechnologyProfileFactory()
    status, out, _ = run("--json", "--years", "3")
    found = json.loads(out)
    assert status == 0
    assert found["as_of"] == "2024-06-01"
    (technology,) = found["technologies"]
    assert technology["technology"] == "polymer piezo"
    assert (technology["lives"], technology["failures"]) == (3, 1)
    assert technology["in_service"] == 2
    assert technology["method"] == "with prior"
    assert "invented for the tests" in technology["prior"]
    # The program's budget year begins in July (its default), so June is what is left.
    assert [year["year"] for year in found["years"]] == ["rest of 2024", "2025", "2026"]
    assert found["years"][0]["to"] == "2024-06-30"
    assert found["total"]["expected"] == pytest.approx(
        sum(year["replacements"]["expected"] for year in found["years"])
    )
    cost = found["years"][1]["cost"]["expected"]
    assert cost > found["years"][1]["replacements"]["expected"] * 5000  # prices grow


def test_the_same_facts_give_the_same_forecast(world):
    assert run("--json") == run("--json")


def test_an_earlier_day_knows_only_what_was_known_then(world):
    status, out, _ = run("--json", "--as-of", "2021-05-01")
    found = json.loads(out)
    assert status == 0
    assert found["technologies"][0]["failures"] == 0  # it failed a month later
    assert found["technologies"][0]["lives"] == 2


def test_the_table_names_technology_and_years(world):
    status, out, _ = run("--years", "2")
    assert status == 0
    assert "polymer piezo" in out
    assert "rest of 2024" in out
    assert "no data" in out  # no cost is entered


def test_nothing_in_the_road_is_status_1(program, held_clock):
    status, out, err = run("--json")
    assert status == 1
    assert json.loads(out)["years"] == []
    assert "Record the installation" in err


@pytest.mark.parametrize(
    "args", [["--years", "0"], ["--years", "ten"], ["--as-of", "soon"]]
)
def test_bad_input_is_refused_by_name(world, args):
    with pytest.raises(CommandError, match=args[0].replace("-", r"\-")):
        run(*args)
