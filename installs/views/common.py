"""What the views of this app share."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from installs.models import Installation

form_page = require_http_methods(["GET", "HEAD", "POST"])
MINUTES = "%Y-%m-%d %H:%M"


def unit_system(request: HttpRequest) -> str:
    """The unit system that this program shows."""
    return str(request.program.unit_system)  # type: ignore[attr-defined]


def form_status(form: Any) -> int:
    """422 for a form sent back, so that scripts and tests can tell."""
    return 422 if form.is_bound and form.errors else 200


def show_form(
    request: HttpRequest, form: Any, *, title: str, back: str, **more: Any
) -> HttpResponse:
    """A page that holds one form."""
    context = {"form": form, "title": title, "back": back, **more}
    return render(request, "installs/form.html", context, status=form_status(form))


def installations() -> QuerySet[Installation]:
    """Installations with all that their pages name."""
    return Installation.objects.select_related("sensor__model", "lane__wim_site")
