"""What the views of this app share."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from calibration import selectors
from calibration.models import (
    CalibrationSession,
    TruckRun,
)
from wimprog.lib.web import form_status

VIEW = (
    "calibration.view_calibrationsession",
    "calibration.view_truckrun",
    "calibration.view_sessionresult",
)


def session_or_404(pk: int) -> CalibrationSession:
    session = selectors.session_get(pk)
    if session is None:
        raise Http404("There is no such session.")
    return session


def run_or_404(pk: int) -> TruckRun:
    runs = TruckRun.objects.select_related(
        "session__lane__wim_site", "weighing__vehicle"
    )
    return get_object_or_404(runs, pk=pk)


def show_form(request: HttpRequest, form: Any, **context: Any) -> HttpResponse:
    context = {"form": form, "submit": "Save", **context}
    return render(request, "calibration/form.html", context, status=form_status(form))
