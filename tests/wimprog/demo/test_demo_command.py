"""`manage.py demo`: builds once, knows its own work, keeps its hands off other's."""

import json
import socket

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.urls import reverse

from quality.models import RecordFile
from sites.models import Program, Site
from tests import factories
from wimprog.demo import loader, standing
from wimprog.lib import demo_environment
from wimprog.management.commands import demo

AS_OF = "2026-06-01"

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path, settings, monkeypatch):
    """The demo's folder, with its record store in it."""
    monkeypatch.setattr(demo_environment, "DEMO_DIR", tmp_path)
    settings.RECORD_STORE = tmp_path / "small" / "records"
    settings.AS_OF = ""
    return tmp_path / "small"


@pytest.fixture
def quick_build(monkeypatch):
    """In place of the simulation: people and program only."""
    made = []

    def build(*, small, as_of, folder, progress):
        made.append(as_of.isoformat())
        loader._people_and_program()
        return {"sites": 0}

    monkeypatch.setattr(demo, "build", build)
    return made


def run(capsys, *arguments):
    call_command("demo", "--small", "--no-serve", "--json", *arguments)
    return json.loads(capsys.readouterr().out)


def refused(capsys, *arguments):
    with pytest.raises(SystemExit) as left:
        run(capsys, *arguments)
    assert left.value.code == 2
    return capsys.readouterr().err


def test_it_is_built_once_and_the_manager_can_sign_in(
    folder, capsys, monkeypatch, client
):
    facts = run(capsys, "--as-of", AS_OF)
    assert facts["as_of"] == AS_OF
    assert (facts["sites"], facts["lanes"]) == (3, 7)
    for name in ("sensors", "installations", "visits", "tests", "sessions", "runs"):
        assert facts[name] > 0, name
    on_disk = sorted(path.name for path in (folder / "files").iterdir())
    assert on_disk == sorted(RecordFile.objects.values_list("source_name", flat=True))
    assert facts["vehicles"] > 100_000
    kept = json.loads((folder / "demo.json").read_text())
    assert kept == facts

    monkeypatch.setattr(demo, "build", None)  # a second build would raise
    assert run(capsys) == facts

    answer = client.post(
        reverse("login"), {"username": "manager", "password": loader.PASSWORD}
    )
    assert answer.status_code == 302
    assert client.get(reverse("health")).status_code == 200


def test_accounts_get_their_groups_and_nothing_more(folder, capsys, quick_build):
    run(capsys, "--as-of", AS_OF)
    groups = dict(User.objects.values_list("username", "groups__name"))
    assert groups == {
        "manager": "program manager",
        "technician": "technician",
        "analyst": "analyst",
        "guest": "guest",
    }
    assert not User.objects.filter(is_staff=True).exists()
    assert not User.objects.filter(is_superuser=True).exists()


def test_somebodys_program_is_left_alone(folder, capsys, quick_build):
    factories.ProgramFactory(name="Somebody's roads")
    said = refused(capsys)
    assert "the demo did not make" in said
    assert quick_build == []
    assert Program.objects.get().name == "Somebody's roads"
    assert not User.objects.exists()


def test_even_a_program_without_settings_is_left_alone(folder, capsys, quick_build):
    factories.SiteFactory()
    refused(capsys)
    assert quick_build == []
    assert Site.objects.count() == 1


def test_a_foreign_database_is_not_taken_for_a_finished_demo(
    folder, capsys, quick_build
):
    run(capsys, "--as-of", AS_OF)
    Program.objects.all().delete()
    Program.history.all().delete()
    factories.ProgramFactory(name="Somebody's roads")
    assert "the demo did not make" in refused(capsys)


def test_the_demo_knows_itself_after_its_agency_was_renamed(
    folder, capsys, quick_build
):
    facts = run(capsys, "--as-of", AS_OF)
    program = Program.objects.get()
    program.name = "Renamed"
    program.save()
    assert run(capsys) == facts
    assert len(quick_build) == 1


def test_an_unfinished_demo_is_told_from_a_finished_one(folder):
    loader._people_and_program()
    found = {"version": standing.VERSION, "size": "small", "seed": 1}
    assert standing.standing({}, size="small", seed=1) == "unfinished"
    assert standing.standing(found, size="small", seed=1) == "finished"
    assert standing.standing(found, size="full", seed=1) == "unfinished"


def test_nothing_outside_of_the_demos_folder_is_thrown_away(
    folder, capsys, quick_build
):
    """Here the database is the test's own, which lies outside of the folder."""
    run(capsys, "--as-of", AS_OF)
    assert "not all of it lies in" in refused(capsys, "--fresh")
    assert User.objects.count() == 4
    assert (folder / "demo.json").exists()


def test_another_last_day_needs_a_fresh_demo(folder, capsys, quick_build):
    run(capsys, "--as-of", AS_OF)
    assert "--fresh" in refused(capsys, "--as-of", "2025-01-01")


def test_a_day_ahead_is_refused(folder, capsys, quick_build):
    assert "lies ahead of today" in refused(capsys, "--as-of", "2999-01-01")
    assert quick_build == []


def test_a_port_that_is_taken_is_said_before_the_building(folder, capsys, quick_build):
    with socket.socket() as other:
        other.bind((demo.HOST, 0))
        other.listen()
        port = str(other.getsockname()[1])
        with pytest.raises(SystemExit) as left:
            call_command("demo", "--small", "--port", port)
    assert left.value.code == 2
    assert f"Port {port} cannot be used" in capsys.readouterr().err
    assert quick_build == []


def test_half_a_facts_file_counts_as_none(tmp_path):
    path = tmp_path / "demo.json"
    assert standing.facts_read(path) == {}
    path.write_text('{"as_of": "2026')
    assert standing.facts_read(path) == {}
