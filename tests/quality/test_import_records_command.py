"""`manage.py import_records` and `sweep_store`: what they print, how they end."""

from __future__ import annotations

import json
import os
import shutil
import time
from pathlib import Path

import pytest
from django.core.management import call_command

from quality.models import RecordFile, RecordPart
from tests.factories import SiteFactory
from tests.quality.conftest import SAMPLES

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]
WGT = SAMPLES / "orrin_w2016.wgt"


@pytest.fixture
def run(capsys):
    """Call the command: its exit status and what it printed."""

    def call(*args):
        with pytest.raises(SystemExit) as end:
            call_command("import_records", *map(str, args))
        printed = capsys.readouterr()
        return end.value.code, printed.out + printed.err

    return call


def test_a_file_is_taken_and_taken_again_is_held(run):
    status, text = run(WGT)
    assert status == 0
    assert "200 of 200 records kept" in text
    assert "made from this file as planned: 99-000101 lane E1" in text
    status, text = run(WGT)
    assert status == 0
    assert "held already, as orrin_w2016.wgt" in text
    assert RecordFile.objects.count() == 1


def test_a_dry_run_says_the_same_and_stores_nothing(run, store):
    status, text = run(WGT, "--dry-run")
    assert status == 0
    assert "would be taken" in text
    assert not RecordFile.objects.exists()
    assert not store.exists() or not list(store.rglob("*.parquet"))


def test_the_guides_third_example_is_refused_by_71_900_lb(run, inputs):
    """TMG 2016, W record examples; the third has transposed digits (README)."""
    status, text = run(inputs / "w2016_examples.wgt")
    assert status == 0
    assert "2 of 3 records kept" in text
    assert "line 3, field gross weight (columns 27–32)" in text
    assert "its axles exceed its gross weight by 71,900 lb" in text
    assert "047289" in text
    assert "transposed" in text


def test_the_5000_vehicles_are_kept(run, inputs):
    status, text = run(inputs / "vehicles_w2016.wgt", "--json")
    told = json.loads(text)["files"][0]
    assert status == 0
    assert (told["read"], told["kept"], told["refused"]) == (5000, 5000, 0)
    assert [lane["records"] for lane in told["lanes"]] == [724, 1347, 1213, 1156, 560]


def test_a_folder_takes_what_it_can_and_ends_with_1_when_some_was_refused(
    run, tmp_path
):
    folder = tmp_path / "in"
    folder.mkdir()
    shutil.copy(WGT, folder / "a.wgt")
    (folder / "b.wgt").write_bytes(b"")
    shutil.copy(SAMPLES / "orrin_w2016_pipe.wgt", folder / "c.wgt")
    (folder / ".hidden").write_bytes(b"not looked at")
    status, text = run(folder, "--json")
    told = {Path(f["path"]).name: f for f in json.loads(text)["files"]}
    assert status == 1
    assert {name: f["outcome"] for name, f in told.items()} == {
        "a.wgt": "taken",
        "b.wgt": "refused",
        "c.wgt": "refused",
    }
    assert "empty" in told["b.wgt"]["message"]
    assert "from a.wgt" in told["c.wgt"]["message"]
    assert RecordFile.objects.count() == 1


def test_a_mapping_file_and_a_site_are_used(run, tmp_path):
    SiteFactory.create(code="OV-101", station_id="000101")
    table = tmp_path / "table.csv"
    table.write_text(
        "when,track,total,a,b,ab\n2031-05-12 00:15:30,1,20000,9000,11000,14.0\n"
    )
    mapped = tmp_path / "mapping.json"
    mapped.write_text(
        json.dumps(
            {"time": "when", "lane": "track", "gross": "total", "weights": ["a", "b"],
             "spacings": ["ab"], "mass_unit": "lb", "spacing_unit": "ft"}
        )
    )  # fmt: skip
    status, text = run(table, "--mapping", mapped)
    assert status == 1
    assert "does not say which state code, station, direction" in text
    status, text = run(
        table, "--mapping", mapped, "--site", "OV-101", "--direction", "3"
    )
    assert (status, RecordFile.objects.get().n_kept) == (0, 1)
    assert RecordPart.objects.get().lane.wim_site.code == "OV-101"


def test_a_table_that_nothing_explains_names_what_is_missing(run):
    status, text = run(SAMPLES / "truck_runs.csv")
    assert status == 1
    assert "nothing says which lane" in text
    assert "Name a column or give the lane." in text


def test_only_known_sites_refuses_new_ones(run):
    status, text = run(WGT, "--known-sites-only")
    assert status == 1
    assert "2 lanes are not in the program" in text
    assert not RecordFile.objects.exists()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["no-such-file.wgt"], "There is no file or folder"),
        ([str(WGT), "--mapping", "no-such.json"], "cannot be read"),
    ],
)
def test_a_wrong_call_ends_with_2(args, words, run):
    status, text = run(*args)
    assert status == 2
    assert words in text


def test_a_mapping_that_is_no_object_ends_with_2(run, tmp_path):
    path = tmp_path / "list.json"
    path.write_text("[]")
    status, text = run(WGT, "--mapping", path)
    assert (status, "must be a JSON object" in text) == (2, True)


def test_the_sweep_removes_strays_and_names_what_is_missing(run, store, capsys):
    run(WGT)
    part, gone = RecordPart.objects.order_by("path")[:2]
    stray = (store / part.path).with_name("stray.parquet")
    stray.write_bytes(b"left by a crash")
    long_ago = time.time() - 3 * 24 * 3600
    os.utime(stray, (long_ago, long_ago))
    call_command("sweep_store")
    assert "1 stray files removed" in capsys.readouterr().out
    assert not stray.exists()
    (store / gone.path).unlink()
    with pytest.raises(SystemExit) as end:
        call_command("sweep_store", "--json")
    told = json.loads(capsys.readouterr().out)
    assert end.value.code == 1
    assert told["missing"] == [gone.path]
    assert (store / part.path).is_file()
