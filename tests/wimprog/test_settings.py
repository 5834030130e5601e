"""The doors: what refuses to start, what must not, and what a sysadmin asks."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse

ROOT = Path(settings.BASE_DIR)


def manage(*arguments, **environment):
    kept = {k: v for k, v in os.environ.items() if not k.startswith("WIMPROG_")}
    kept.pop("DATABASE_URL", None)
    kept.pop("DJANGO_SETTINGS_MODULE", None)
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env={**kept, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_it_refuses_to_serve_without_a_secret_and_says_what_to_set():
    if (ROOT / ".env").exists():
        pytest.skip("this checkout has a .env file of its own")
    result = manage("check")
    assert result.returncode != 0
    assert "WIMPROG_SECRET_KEY is not set" in result.stderr
    assert "manage.py demo" in result.stderr


def test_a_command_that_serves_nobody_needs_no_secret():
    result = manage("judge_runs", "--help")
    assert result.returncode == 0, result.stderr
    assert "--static" in result.stdout


@pytest.mark.parametrize("command", ["report", "forecast", "import_records"])
def test_an_empty_database_is_told_plainly(command, tmp_path):
    arguments = {
        "report": ["2030", "--out", str(tmp_path)],
        "forecast": [],
        "import_records": [str(ROOT / "fixtures" / "samples")],
    }[command]
    result = manage(
        command, *arguments, DATABASE_URL=f"sqlite:///{tmp_path / 'new.sqlite3'}"
    )
    assert result.returncode == 2
    assert "manage.py migrate" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.django_db
def test_healthz_checks_database_and_store(client):
    answer = client.get(reverse("healthz"))
    assert answer.status_code == 200
    assert answer.json() == {"database": "ok", "store": "ok"}


@pytest.mark.django_db
def test_healthz_fails_when_the_store_cannot_be_written(client, settings, tmp_path):
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    settings.RECORD_STORE = blocked
    answer = client.get(reverse("healthz"))
    assert answer.status_code == 503
    assert answer.json()["store"] == "cannot be written"


def test_sqlite_is_set_for_many_writers():
    options = settings.DATABASES["default"].get("OPTIONS", {})
    if "sqlite3" not in settings.DATABASES["default"]["ENGINE"]:
        pytest.skip("this run is not on SQLite")
    assert options["transaction_mode"] == "IMMEDIATE"
    for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=NORMAL"):
        assert pragma in options["init_command"]
    assert options["timeout"] >= 10
