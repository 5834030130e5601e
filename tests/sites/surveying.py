"""Surveys and profiles for the tests: invented places on an invented road."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile

from sites.models import SiteSurvey
from tests.sites.calc.build import SOUND


def survey_of(**changes: Any) -> SiteSurvey:
    """A stored survey of a sound candidate place, with these things changed."""
    facts = {
        field.name: getattr(SOUND, field.name) for field in dataclasses.fields(SOUND)
    }
    values: dict[str, Any] = {
        name: "" if value is None and name.endswith(("level", "kind")) else value
        for name, value in facts.items()
    }
    values |= {
        "place": "north of the quarry gate",
        "route": "Route 14",
        "study": "Route 14 renewal",
        "surveyed_on": dt.date(2024, 5, 20),
        "surveyed_by": "M. Tarn",
    }
    return SiteSurvey.objects.create(**(values | changes))


def wave_csv(
    length_m: float = 300.0,
    *,
    interval_m: float = 0.05,
    amplitude_mm: float = 1.0,
    calm_m: tuple[float, float] = (180.0, 300.0),
    heading: str = "distance (m),left elevation (mm),right elevation (mm)",
) -> bytes:
    """A profile that is a sine of 5 m, four times smaller in its calm part."""
    along = np.arange(0.0, length_m + interval_m / 2, interval_m)
    calm = (along >= calm_m[0]) & (along <= calm_m[1])
    size = amplitude_mm * np.where(calm, 0.25, 1.0)
    left = size * np.sin(2 * np.pi * along / 5.0)
    right = 1.2 * left
    lines = [heading]
    lines += [
        f"{x:.3f},{a:.5f},{b:.5f}" for x, a, b in zip(along, left, right, strict=True)
    ]
    return "\n".join(lines).encode() + b"\n"


def upload(content: bytes, name: str = "route-14-e1.csv") -> SimpleUploadedFile:
    """A file as a browser sends it."""
    return SimpleUploadedFile(name, content, content_type="text/csv")


FORM = {
    "place": "north of the quarry gate",
    "route": "Route 14",
    "study": "Route 14  renewal",
    "surveyed_on": "2024-05-20",
    "surveyed_by": "M. Tarn",
    "wanted_type": "Type I",
    "curve_is_straight": "yes",
    "grade_pct": "−0.5",
    "trucks_per_day": "1,200",
    "lane_width_m": "12.0",
    "iri_m_per_km": "95",
    "rutting_mm": "0.10",
    "speed_p85_kmh": "65",
    "deflection_hundredths_mm": "6",
    "plate_passes": "no",
    "straightedge_length_m": "16",
    "pavement_kind": "flexible",
    "drainage": "drains well",
}
