"""The button that looks for work now."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.web import needs
from wimprog.work import find_work


@needs("installs.add_workitem", "installs.change_workitem")
@require_POST
def look_for_work(request: HttpRequest) -> HttpResponse:
    """Look everywhere now and bring the work list up to date."""
    program = request.program  # type: ignore[attr-defined]
    try:
        found = find_work(program, clock.today(program.time_zone), request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, found.sentence)
    return redirect("installs:work-list")
