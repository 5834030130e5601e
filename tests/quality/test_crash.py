"""An import killed at any instant leaves the old state or the new one, never a third.

Real processes are killed with SIGKILL (``crash_driver.py``). This shows what the death
of a process does; the loss of power rests on ``fsync`` and is not tried here.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from typing import Any

import pytest

from tests.quality.conftest import ROOT, SAMPLES
from tests.quality.crash_driver import MOMENTS, N_RANDOM

STATE = ("rows", "database", "records")


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("crash")
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "tests.quality.crash_driver",
            str(folder),
            str(SAMPLES / "orrin_w2016.wgt"),
        ],
        cwd=ROOT,
        check=False,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert run.returncode == 0, run.stderr
    return json.loads((folder / "found.json").read_text())


def state(found: dict[str, Any]) -> dict[str, Any]:
    return {name: found[name] for name in STATE}


def test_old_and_new_are_what_they_should_be(outcome: dict[str, Any]) -> None:
    """The sample holds 200 vehicles of two lanes in one month; the second, 400."""
    old, new = outcome["old"], outcome["new"]
    assert (old["n_records"], new["n_records"]) == (200, 600)
    assert (old["rows"]["RecordPart"], new["rows"]["RecordPart"]) == (2, 6)
    assert old["database"] != new["database"]
    assert old["records"] != new["records"]


@pytest.mark.parametrize("moment", MOMENTS)
def test_killed_at_a_named_moment(moment: str, outcome: dict[str, Any]) -> None:
    case = outcome["named"][moment]
    assert case["ended"] == {"signal": signal.SIGKILL}, "the moment was never reached"
    wanted = "new" if moment == "after the commit" else "old"
    assert state(case["crashed"]) == state(outcome[wanted])
    check_case(case, outcome)


def test_killed_at_random_moments(outcome: dict[str, Any]) -> None:
    cases = outcome["random"]
    assert len(cases) == N_RANDOM
    killed = [case["ended"] == {"signal": signal.SIGKILL} for case in cases.values()]
    assert any(killed)
    for case in cases.values():
        assert state(case["crashed"]) in (
            state(outcome["old"]),
            state(outcome["new"]),
        )
        check_case(case, outcome)


def check_case(case: dict[str, Any], outcome: dict[str, Any]) -> None:
    """Nothing promised is missing, and importing again gives exactly the new state."""
    for found in (case["crashed"], case["again"], case["tidy"]):
        assert found["without_file"] == []
        assert found["n_records"] == found["n_promised"]
    assert state(case["again"]) == state(outcome["new"])
    assert state(case["tidy"]) == state(outcome["new"])
    assert case["tidy"]["without_row"] == []
