"""The command: exit statuses, JSON, and the real sheets where they are at hand."""

import json
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from calibration.calc.standards import all_standards

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "fixtures" / "samples"
INPUTS = ROOT.parent / "shared" / "inputs"
needs_inputs = pytest.mark.skipif(
    not (INPUTS / "truck_runs.csv").is_file(),
    reason="../shared/inputs with the trial sheets is not on this machine",
)


def judge(*options, folder=SAMPLES, runs=None):
    out = StringIO()
    call_command(
        "judge_runs",
        "--static",
        str(folder / "truck_static.csv"),
        "--runs",
        str(runs or folder / "truck_runs.csv"),
        *options,
        stdout=out,
    )
    return out.getvalue()


def gross_of(standard):
    return next(
        one for one in standard["judgements"] if one["quantity"] == "gross weight"
    )


@needs_inputs
def test_the_trial_sheets_give_their_known_figures():
    """Made for n 40, mean 1.2 %, sd 3.5 %; verdicts by hand from the formulas."""
    answer = json.loads(judge("--json", folder=INPUTS))
    gross = answer["statistics"][0]
    assert (gross["quantity"], gross["n"]) == ("gross weight", 40)
    assert round(gross["mean"], 2) == 1.20
    assert round(gross["sd"], 2) == 3.50
    passes = gross["single_pass_interval"]
    assert (round(passes["low"], 2), round(passes["high"], 2)) == (-5.88, 8.28)
    found = {one["standard"]: one for one in answer["standards"]}
    e1318, cost, ltpp = (found[key] for key in ("astm-e1318", "cost-323", "ltpp"))
    assert (e1318["attained_class"], gross_of(e1318)["verdict"]) == ("Type I", "meets")
    assert cost["attained_class"] == "B(10)"
    details = gross_of(cost)["details"]
    assert details["own class"] == "B(10)"
    assert details["pi0_pct"] == pytest.approx(93.35, abs=0.005)
    assert details["pi_pct"] == pytest.approx(97.97, abs=0.005)
    assert details["delta_min"] == pytest.approx(8.078, abs=1e-3)
    assert gross_of(ltpp)["verdict"] == "meets"
    assert "speed" in dict(e1318["not_covered"])


@needs_inputs
def test_the_trial_sheets_at_initial_verification():
    answer = json.loads(
        judge("--json", "--initial", "--standard", "cost-323", folder=INPUTS)
    )
    (cost,) = answer["standards"]
    assert cost["attained_class"] == "C(15)"
    details = gross_of(cost)["details"]
    assert (details["own class"], details["delta"]) == ("C(15)", 12.0)
    assert details["pi_pct"] == pytest.approx(99.50, abs=0.005)


def test_the_sample_is_judged_without_a_class():
    text = judge()
    assert "12 runs of Red tractor, Stone hauler; 0 set aside." in text
    assert text.count("MEETS.") == len(all_standards())


def test_plan_and_environment_reach_the_standard():
    options = ("--plan", "r1", "--environment", "III", "--standard", "cost-323")
    text = judge(*options)
    assert "Test plan r1" in text
    assert "environment III" in text


def test_metric_units_are_shown_on_request():
    assert "km/h" in judge("--units", "si")
    assert "km/h" not in judge("--units", "us")


@pytest.mark.parametrize("as_json", [True, False])
def test_status_1_when_the_wanted_class_is_not_met(tmp_path, as_json):
    rows = (SAMPLES / "truck_runs.csv").read_text().splitlines()
    few = tmp_path / "few.csv"
    few.write_text("\n".join(rows[:5]))
    options = ["--class", "Type I", *(["--json"] if as_json else [])]
    with pytest.raises(CommandError, match="Type I is not shown to be met") as caught:
        judge(*options, runs=few)
    assert caught.value.returncode == 1


def test_status_0_when_the_wanted_class_is_met():
    assert json.loads(judge("--class", "B(10)", "--json"))["is_wanted_met"] is True


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--class", "Type IX"], "None of the standards has a class"),
        (["--standard", "nowhere"], "There is no tolerance standard"),
    ],
)
def test_status_2_for_a_request_that_cannot_be_met(options, message):
    with pytest.raises(CommandError, match=message) as caught:
        judge(*options)
    assert caught.value.returncode == 2


def test_status_2_for_a_bad_sheet_with_every_complaint(tmp_path, capsys):
    text = (SAMPLES / "truck_runs.csv").read_text()
    bad = tmp_path / "bad.csv"
    bad.write_text(text.replace("11183", "heavy").replace("17100", ""))
    with pytest.raises(CommandError) as caught:
        judge(runs=bad)
    assert caught.value.returncode == 2
    assert "bad.csv cannot be taken as it stands: 2 faults" in str(caught.value)
    assert "line 2, field axle_1_lb" in str(caught.value)
    assert "line 4, field axle_2_lb" in str(caught.value)


def test_a_bad_sheet_as_json(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("")
    out = StringIO()
    with pytest.raises(CommandError):
        call_command(
            "judge_runs",
            static=SAMPLES / "truck_static.csv",
            runs=bad,
            json=True,
            stdout=out,
        )
    (complaint,) = json.loads(out.getvalue())["complaints"]
    assert complaint["message"] == "The file is empty."


def test_status_2_for_a_file_that_is_not_there(tmp_path):
    with pytest.raises(CommandError, match="cannot be opened") as caught:
        judge(runs=tmp_path / "none.csv")
    assert caught.value.returncode == 2


def test_units_can_be_affirmed(tmp_path):
    text = (SAMPLES / "truck_runs.csv").read_text().replace("_lb", "_kg")
    slipped = tmp_path / "slipped.csv"
    slipped.write_text(text)
    with pytest.raises(CommandError, match="ratio of pounds to kilograms"):
        judge(runs=slipped)
    assert "MISSES." in judge("--units-are-right", runs=slipped)


def test_a_shell_sees_the_status_and_needs_no_database(tmp_path):
    """As a script would call it, with a database address that leads nowhere."""
    environment = {
        "DATABASE_URL": f"sqlite:///{tmp_path}/nowhere/none.sqlite3",
        "WIMPROG_SECRET_KEY": "tests-only",
        "WIMPROG_INSECURE_COOKIES": "on",
        "PATH": "",
    }
    command = [sys.executable, "manage.py", "judge_runs", "--json"]
    command += ["--static", str(SAMPLES / "truck_static.csv")]
    command += ["--runs", str(SAMPLES / "truck_runs.csv"), "--class"]

    def run(wanted: str) -> subprocess.CompletedProcess:
        return subprocess.run(
            [*command, wanted],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )

    met, unknown = run("C(15)"), run("Z(1)")
    assert met.returncode == 0, met.stderr
    assert json.loads(met.stdout)["is_wanted_met"] is True
    assert unknown.returncode == 2
    assert "None of the standards" in unknown.stderr
