"""What phones sent: the list, the token to send with, a clash settled side by side."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import resolve
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from installs.calc.upkeep.types import SendState
from installs.models import MaintenanceVisit, RoadsideSend
from installs.selectors.sends import (
    VISIT_FIELDS,
    Clash,
    clash_of_send,
    open_clashes,
    sends_of,
    version_of,
    visit_text,
)
from installs.services.sends import send_settle
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs

#: What a person may choose for all fields at once, or field by field.
ALL_KEPT, ALL_TYPED, EACH = "kept", "typed", "each"


@needs("installs.view_roadsidesend")
@require_safe
def send_list(request: HttpRequest) -> HttpResponse:
    """What waits on this phone, what is to be settled, what arrived."""
    context = {"clashes": open_clashes(), "sends": sends_of(request.user)}
    return render(request, "installs/sends_list.html", context)


@needs("installs.view_roadsidesend")
@require_safe
@never_cache
def send_token(request: HttpRequest) -> JsonResponse:
    """Who is signed in, and the token that a form is sent with."""
    return JsonResponse(
        {
            "user": str(request.user.pk),
            "token": get_token(request),
            "now": timezone.now().isoformat(),
        }
    )


@needs("installs.view_roadsidesend", "installs.change_maintenancevisit")
@form_page
def send_clash(request: HttpRequest, pk: int) -> HttpResponse:
    """Two people changed one visit: both sides, and the choice."""
    send = get_object_or_404(
        RoadsideSend.objects.select_related("sent_by", "settled_by"), pk=pk
    )
    path = str(send.payload.get("path", "")).partition("?")[0]
    visit = get_object_or_404(
        MaintenanceVisit.objects.select_related("wim_site"),
        pk=resolve(path).kwargs.get("pk"),
    )
    clash = clash_of_send(send, visit)
    if request.method == "POST" and send.state == SendState.CLASH:
        try:
            return _settle(request, clash, path)
        except DomainError as error:
            messages.error(request, error.message)
            return redirect(request.path)
    context = {"send": send, "visit": visit, "clash": clash, "why": request.user}
    return render(request, "installs/sends_clash.html", context)


@transaction.atomic
def _settle(request: HttpRequest, clash: Clash, path: str) -> HttpResponse:
    """Keep what was chosen, through the visit's own form and its checks."""
    choice = request.POST.get("choice", "")
    if choice == ALL_KEPT:
        send_settle(send=clash.send, by=request.user, chosen="kept what was there")
        messages.success(request, "The visit stays as it was kept.")
        return redirect(clash.visit)
    held = MaintenanceVisit.objects.select_for_update().get(pk=clash.visit.pk)
    seen = request.POST.get("seen_version", "")
    if seen and seen != version_of(held):
        raise DomainError(
            "The visit was changed once more while you were choosing; nothing was "
            "saved. Below it is as it stands now: choose again."
        )
    if choice in (ALL_TYPED, EACH):
        request.POST = _merged(request.POST, clash, choice)  # type: ignore[assignment]
    # else: the form was shown again because something in it was wrong
    found = resolve(path)
    response = found.func(request, *found.args, **found.kwargs)
    if response.status_code in (200, 302, 303):
        words = {ALL_TYPED: "took what the phone had", EACH: "chose field by field"}
        chosen = words.get(choice, "chose field by field, and corrected")
        send_settle(send=clash.send, by=request.user, chosen=chosen)
    return response


def _merged(post: QueryDict, clash: Clash, choice: str) -> QueryDict:
    """The fields to send through the form: the phone's, or those that were chosen."""
    merged = QueryDict(mutable=True)
    for name, value in clash.send.payload.get("fields", ()):
        merged.appendlist(str(name), str(value))
    for name in VISIT_FIELDS:
        if name not in merged:
            merged[name] = visit_text(clash.visit, name)
    if choice == EACH:
        for pair in clash.different:
            if post.get(f"take_{pair.name}", pair.suggested) != ALL_TYPED:
                merged[pair.name] = pair.kept
    if not merged.get("why"):
        merged["why"] = "settled between two changes of the visit"
    return merged
