"""Context that every template has."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from wimprog.lib import clock

# By job, in the order of the work: label, URL name, paths that belong to it.
MENU = (
    ("Program", "health", ("/health/", "/program/")),
    ("Sites", "site-list", ("/sites/",)),
    ("Roadside", "installs:roadside", ("/roadside/",)),
    ("Calibration", "calibration:session-list", ("/calibration/",)),
    ("Records", "quality:record-list", ("/records/",)),
    ("Renewal", "installs:forecast", ("/renewal/",)),
    ("Reports", "quality:report", ("/reports/",)),
)


def everywhere(request: HttpRequest) -> dict[str, Any]:
    """The program, today's date, and the menu."""
    program = getattr(request, "program", None)
    user = getattr(request, "user", None)
    nav = []
    if user is not None and user.is_authenticated:
        nav = [
            {
                "label": label,
                "url": reverse(name),
                "current": request.path.startswith(paths),
            }
            for label, name, paths in MENU
        ]
    return {
        "program": program,
        "today": clock.today(program.time_zone if program else "UTC"),
        "clock_is_held": bool(settings.AS_OF),
        "is_demo": settings.IS_DEMO,
        "nav": nav,
    }
