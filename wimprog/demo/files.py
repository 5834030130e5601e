"""The demo's record files: truck weight records, with a few bad lines."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from quality.records.schema import LaneKey
from quality.records.w_layout import OpenField
from quality.records.w_write import write_w_records
from wimprog.demo.scenario import SitePlan
from wimprog.demo.traffic import lane_vehicles

STATE_CODE = "99"
LEAST_LINE = 44
"""Characters of the shortest vehicle line: two axles."""


@dataclass(frozen=True)
class FileJob:
    """One file to write: a site's year, or what there is of it."""

    site: SitePlan
    first_on: dt.date
    last_on: dt.date

    @property
    def name(self) -> str:
        """The file's name."""
        return f"{self.site.code.replace('-', '')}_{self.first_on.year}.wgt"


def file_jobs(sites: list[SitePlan], as_of: dt.date) -> list[FileJob]:
    """A file for each site and year, up to yesterday."""
    jobs = []
    for site in sites:
        last = min(site.last_on or as_of, as_of) - dt.timedelta(days=1)
        for year in range(site.in_service_on.year, last.year + 1):
            first_on = max(dt.date(year, 1, 1), site.in_service_on)
            last_on = min(dt.date(year, 12, 31), last)
            if first_on <= last_on:
                jobs.append(FileJob(site, first_on, last_on))
    return sorted(jobs, key=lambda job: (job.first_on.year, job.site.code))


def spoil(content: bytes, rng: np.random.Generator) -> tuple[bytes, int]:
    """Spoil a few lines as real files are spoilt; returns how many."""
    lines = content.split(b"\n")
    whole = np.flatnonzero([len(line) >= LEAST_LINE for line in lines])
    n_bad = min(int(rng.integers(0, 6)), whole.size)
    for place in rng.choice(whole, size=n_bad, replace=False):
        line = bytearray(lines[place])
        how = int(rng.integers(0, 4))
        if how == 0:  # cut in the middle
            line = line[: int(rng.integers(20, 38))]
        elif how == 1:  # a gross weight that is not the sum of its axles
            line[26:32] = b"099999"
        elif how == 2:  # a byte from a bad connection
            line[35] = 0xE9
        else:  # a month that does not exist
            line[15:17] = b"13"
        lines[place] = bytes(line)
    return b"\n".join(lines), n_bad


def write_file(job: FileJob, folder: Path) -> Path:
    """Write one file; the same plan gives the same bytes."""
    buffer = io.BytesIO()
    for lane in job.site.lanes:
        table = lane_vehicles(lane, max(job.first_on, lane.opened_on), job.last_on)
        key = LaneKey(
            STATE_CODE, job.site.station_id, str(lane.direction), str(lane.number)
        )
        write_w_records(table, buffer, lane=key, open_field=OpenField.SPEED_MPH)
    rng = np.random.default_rng([job.site.lanes[0].seed, job.first_on.year, 11])
    content, _ = spoil(buffer.getvalue(), rng)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / job.name
    path.write_bytes(content)
    return path
