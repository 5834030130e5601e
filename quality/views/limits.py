"""Every check with its limit: where it is from, and the agency's own."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality.deciding_forms import LimitForm, ReasonForm
from quality.models import CheckLimit
from quality.selectors.limit_rows import check_of, limit_history, limit_rows
from quality.services.limits import limit_return, limit_set
from quality.tasks import send_findings
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, form_status, needs, try_service

CHANGED = "Stored days are looked at again by a worker; until then they show what was \
found by the limit before."


@needs("quality.view_checklimit")
def limit_list(request: HttpRequest) -> HttpResponse:
    """All checks by level, with the limit in force."""
    return render(request, "quality/limit_list.html", {"rows": limit_rows()})


@needs("quality.view_checklimit")
def limit_detail(request: HttpRequest, key: str) -> HttpResponse:
    """A check, its limits and their history."""
    return _detail(request, key, LimitForm())


def _detail(request: HttpRequest, key: str, form: Any) -> HttpResponse:
    row = next((row for row in limit_rows() if row.check.key == key), None)
    if row is None:
        raise Http404(key)
    context = {"row": row, "form": form, "history": limit_history(key)}
    return render(
        request, "quality/limit_detail.html", context, status=form_status(form)
    )


@needs("quality.change_checklimit")
@form_page
def limit_edit(request: HttpRequest, key: str) -> HttpResponse:
    """Set the agency's limit, or switch the check off."""
    try:
        check = check_of(key)
    except DomainError as error:
        raise Http404(key) from error
    form = LimitForm(request.POST or None)
    saved = form.is_valid() and try_service(
        form, lambda: limit_set(check_key=key, by=request.user, **form.cleaned_data)
    )
    if not saved:
        return _detail(request, key, form)
    lane_id = saved.lane_id
    transaction.on_commit(lambda: send_findings(lane_id))
    messages.success(request, f"{check.title}: {saved.value:g}. {CHANGED}")
    return redirect("quality:limit-detail", key)


@needs("quality.delete_checklimit")
@require_POST
def limit_drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Return to the default."""
    limit = get_object_or_404(CheckLimit, pk=pk)
    key, lane_id, form = limit.check_key, limit.lane_id, ReasonForm(request.POST)
    if not form.is_valid():
        return _detail(request, key, form)
    reason = form.cleaned_data["reason"]
    limit_return(limit=limit, reason=reason, by=request.user)
    transaction.on_commit(lambda: send_findings(lane_id))
    messages.success(request, f"Returned to the default. {CHANGED}")
    return redirect("quality:limit-detail", key)
