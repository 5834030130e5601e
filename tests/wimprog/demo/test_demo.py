"""The demo is built through the same doors as people use; every page opens on it."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.urls import reverse

from wimprog.demo import files, scenario, traffic
from wimprog.demo.loader import build

AS_OF = dt.date(2026, 6, 1)


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    job = files.file_jobs(scenario.plan(AS_OF, small=True), AS_OF)[0]
    again = files.file_jobs(scenario.plan(AS_OF, small=True), AS_OF)[0]
    first = files.write_file(job, tmp_path / "a").read_bytes()
    assert first == files.write_file(again, tmp_path / "b").read_bytes()


def test_class_nine_is_the_share_that_the_mixture_says():
    lane = scenario.plan(AS_OF, small=True)[0].lanes[0]
    table = traffic.lane_vehicles(lane, lane.opened_on, AS_OF)
    share = np.mean(np.asarray(table.column("vehicle_class")) == 9)
    n = table.num_rows
    assert n > 5000
    assert share == pytest.approx(0.56, abs=4 * (0.56 * 0.44 / n) ** 0.5)


def test_spoilt_files_hold_the_bad_lines_that_were_planted():
    content = b"\n".join([b"W" + b"1" * 60] * 50) + b"\n"
    spoilt, n = files.spoil(content, np.random.default_rng(3))
    changed = sum(
        a != b for a, b in zip(content.split(b"\n"), spoilt.split(b"\n"), strict=True)
    )
    assert n > 0
    assert changed == n


@pytest.mark.django_db
def test_the_small_demo_builds_and_every_page_opens(client, tmp_path, settings):
    from calibration.models import CalibrationSession
    from installs.models import ElectricalTest, Installation, Sensor
    from quality.models import LaneDay, RecordFile, RecordPart
    from sites.models import Lane

    settings.AS_OF = AS_OF.isoformat()
    settings.RECORD_STORE = tmp_path / "store"
    said: list[str] = []
    counts = build(small=True, as_of=AS_OF, folder=tmp_path, progress=said.append)
    assert counts["lanes"] == 7
    assert RecordFile.objects.count() == counts["files"] > 0
    assert said
    assert not LaneDay.objects.filter(date__gt=AS_OF).exists()
    assert not ElectricalTest.objects.filter(tested_at__date__gt=AS_OF).exists()
    assert Installation.history.count() >= Installation.objects.count() > 0
    for part in RecordPart.objects.all()[:20]:
        assert (Path(settings.RECORD_STORE) / part.path).is_file()

    client.force_login(User.objects.get(username="manager"))
    lane = Lane.objects.first()
    session = CalibrationSession.objects.first()
    pages = [
        reverse("health"),
        reverse("health") + "?sort=-drift&condition=watch&q=OV",
        reverse("health-export", args=["csv"]),
        reverse("health-export", args=["xlsx"]),
        reverse("site-list"),
        lane.wim_site.get_absolute_url(),
        lane.get_absolute_url(),
        Sensor.objects.first().get_absolute_url(),
        session.get_absolute_url(),
        reverse("installs:roadside"),
        reverse("installs:forecast"),
        reverse("calibration:session-list"),
        reverse("quality:record-list"),
        RecordFile.objects.first().get_absolute_url(),
        reverse("quality:review-list"),
        reverse("quality:lane-days", args=[lane.pk]),
        reverse("quality:lane-weeks", args=[lane.pk]),
        reverse("quality:report") + "?year=2025",
        reverse("quality:report-download", args=[2025, "pdf"]),
        reverse("quality:report-download", args=[2025, "xlsx"]),
    ]
    for page in pages:
        answer = client.get(page)
        assert answer.status_code == 200, page
        assert answer.content


def test_the_invented_outline_can_be_read():
    import json

    from wimprog.lib.outline import read_outline

    outline = Path(settings.BASE_DIR) / "fixtures" / "demo" / "outline.json"
    assert len(read_outline(json.loads(outline.read_text()))) == 2
