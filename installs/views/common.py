"""What the views of this app share."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from installs.models import Installation
from wimprog.lib.web import form_status

MINUTES = "%Y-%m-%d %H:%M"


def show_form(
    request: HttpRequest, form: Any, *, title: str, back: str, **more: Any
) -> HttpResponse:
    """A page that holds one form."""
    context = {"form": form, "title": title, "back": back, **more}
    return render(request, "installs/form.html", context, status=form_status(form))


def installations() -> QuerySet[Installation]:
    """Installations with all that their pages name."""
    return Installation.objects.select_related("sensor__model", "lane__wim_site")
