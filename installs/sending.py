"""A view that keeps a form from the roadside once, however often it is sent.

Put :func:`sent_once` around a view that shows a form and takes it back. Without the
mark that a phone makes (``client_id``) the view stays as it is. With it, the receipt
and all that the form makes are kept in one transaction, and the same mark answers with
the same receipt ever after.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from functools import partial, wraps
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from installs.calc.upkeep.phone_clock import is_told, skew_words
from installs.calc.upkeep.types import SendState
from installs.models import MaintenanceVisit, RoadsideSend
from installs.selectors.sends import (
    perhaps_same_visits,
    same_visit_words,
    send_of,
    version_of,
)
from installs.services.sends import AlreadySent, Sending, send_finish, send_keep
from wimprog.lib.errors import DomainError
from wimprog.lib.models import Fact

View = Callable[..., HttpResponse]
#: Asks for the receipt as JSON: ``live`` (the page goes on to its target, which shows
#: the messages) or ``waiting`` (nobody looks; the receipt carries them).
HEADER = "X-Roadside"
ENVELOPE = ("client_id", "seen_version", "typed_at", "sent_at")
NOT_KEPT = (*ENVELOPE, "csrfmiddlewaretoken")
CONFLICT = 409


class _NotKept(Exception):
    """Undo the transaction and answer with this."""

    def __init__(self, response: HttpResponse) -> None:
        super().__init__()
        self.response = response


def sent_once(
    form: str, *, changes: type[Fact] | None = None
) -> Callable[[View], View]:
    """Keep what a phone sends to a view once.

    Parameters
    ----------
    form
        Which form: ``visit``, ``test``, ``run``.
    changes
        The model whose row (``pk`` of the address) the form changes. A phone that had
        seen an older version (``seen_version``) changes nothing: a visit is kept as a
        clash to be settled, anything else is refused in words.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not _is_marked(request, changes):
                return view(request, *args, **kwargs)
            call = partial(view, request, *args, **kwargs)
            try:
                sending = sending_of(request, form)
                return _keep_once(request, sending, call, changes, kwargs.get("pk"))
            except DomainError as error:
                return _refused(request, error.message)

        return guarded

    return decorate


def _is_marked(request: HttpRequest, changes: type[Fact] | None) -> bool:
    if request.method != "POST":
        return False
    versioned = changes is not None and request.POST.get("seen_version")
    return bool(request.POST.get("client_id") or versioned)


def sending_of(request: HttpRequest, form: str) -> Sending:
    """The form as it arrived.

    Raises
    ------
    DomainError
        When its mark is no identifier.
    """
    post = request.POST
    try:
        client_id = uuid.UUID(post["client_id"]) if post.get("client_id") else None
    except ValueError:
        raise DomainError(
            f"The mark “{post['client_id'][:40]}” of this form is no identifier, so it "
            "was not saved. Open the form anew and type it again."
        ) from None
    fields = [
        [name, value]
        for name, values in post.lists()
        if name not in NOT_KEPT
        for value in values
    ]
    files = [
        [name, one.name, one.size]
        for name, held in request.FILES.lists()
        for one in held
    ]
    path = request.get_full_path()
    return Sending(
        client_id=client_id or uuid.uuid4(),
        form=form,
        payload={"path": path, "fields": fields, "files": files},
        seen_version=post.get("seen_version", "")[:64],
        typed_at=_instant(post.get("typed_at", "")),
        sent_at=_instant(post.get("sent_at", "")),
    )


def _instant(text: str) -> dt.datetime | None:
    """An instant with its offset; None when it is empty or cannot be read."""
    try:
        found = parse_datetime(text)
    except ValueError:
        return None
    return found if found is not None and found.tzinfo is not None else None


def _keep_once(
    request: HttpRequest,
    sending: Sending,
    call: Callable[[], HttpResponse],
    changes: type[Fact] | None,
    pk: int | None,
) -> HttpResponse:
    first = send_of(sending.client_id)
    if first is None:
        try:
            with transaction.atomic():
                return _keep(request, sending, call, changes, pk)
        except _NotKept as refused:
            return refused.response
        except AlreadySent:
            first = send_of(sending.client_id)
            if first is None:  # the other one was undone meanwhile
                raise DomainError(
                    "It could not be saved just now; send it again."
                ) from None
    return _again(request, sending, first)


def _keep(
    request: HttpRequest,
    sending: Sending,
    call: Callable[[], HttpResponse],
    changes: type[Fact] | None,
    pk: int | None,
) -> HttpResponse:
    by = request.user
    if changes is not None and sending.seen_version:
        held = changes._default_manager.select_for_update().filter(pk=pk).first()
        if held is not None and version_of(held) != sending.seen_version:
            return _clash(request, sending, held)
    send = send_keep(sending=sending, by=by)
    skew = sending.clock_skew_s
    if skew is not None and is_told(skew):
        messages.warning(request, _clock_words(skew))
    response = call()
    if response.status_code not in (302, 303):
        raise _NotKept(response)
    target = response["Location"]
    _tell_of_twins(request, sending.form, target)
    told = _told(request)
    send_finish(send=send, target=target[:200], message=" ".join(told), by=by)
    return _receipt(request, response, send, again=False)


def _clock_words(skew_s: float) -> str:
    server = timezone.now()
    phone = server + dt.timedelta(seconds=skew_s)
    return (
        f"{skew_words(skew_s).capitalize()}: it showed {phone:%Y-%m-%d %H:%M} UTC when "
        f"the server’s showed {server:%Y-%m-%d %H:%M} UTC. Times stay as you typed "
        "them; check them, and set the phone’s clock."
    )


def _tell_of_twins(request: HttpRequest, form: str, target: str) -> None:
    """Say so when somebody else has perhaps logged the same visit."""
    if form != "visit":
        return
    try:
        found = resolve(target.partition("?")[0].partition("#")[0])
    except Resolver404:
        return
    if found.view_name != "installs:visit-detail":
        return
    visits = MaintenanceVisit.objects.select_related("wim_site")
    visit = visits.get(pk=found.kwargs["pk"])
    if twins := perhaps_same_visits(visit):
        messages.warning(request, same_visit_words(visit, twins))


def _told(request: HttpRequest) -> list[str]:
    """What the messages say; they stay for the page that is shown next."""
    held = list(messages.get_messages(request))
    for one in held:
        messages.add_message(request, one.level, one.message, one.extra_tags or "")
    return [str(one.message) for one in held]


# --- what is answered ----------------------------------------------------------------


def _receipt(
    request: HttpRequest, response: HttpResponse, send: RoadsideSend, *, again: bool
) -> HttpResponse:
    way = request.headers.get(HEADER, "")
    if not way:
        return response
    if way == "waiting":
        list(messages.get_messages(request))  # told by the receipt, not by a later page
    return JsonResponse(
        {
            "state": send.state,
            "target": send.target,
            "message": send.message,
            "again": again,
        }
    )


def _again(request: HttpRequest, sending: Sending, first: RoadsideSend) -> HttpResponse:
    """The first receipt; nothing else is made.

    Raises
    ------
    DomainError
        When somebody else sent it.
    """
    if first.sent_by_id != request.user.pk:
        raise DomainError(
            "Somebody else sent a form under the same mark, so this one was not saved. "
            "Open the form anew and type it again."
        )
    if (first.form, first.payload) != (sending.form, sending.payload):
        return _refused(
            request,
            "This form was kept already, as it was first sent on "
            f"{first.created_at:%Y-%m-%d %H:%M} UTC, and was changed on the phone "
            "after that. What is kept stays as it is: open it and change it there.",
            target=first.target,
        )
    if not request.headers.get(HEADER):
        messages.info(request, "This form had arrived already; it is kept once.")
    return _receipt(request, redirect(first.target), first, again=True)


def _refused(request: HttpRequest, problem: str, target: str = "") -> HttpResponse:
    if request.headers.get(HEADER):
        told = {"problem": problem, "target": target}
        return JsonResponse(told, status=CONFLICT)
    context = {"problem": problem, "target": target}
    return render(request, "installs/sends_refused.html", context, status=CONFLICT)


def _clash(request: HttpRequest, sending: Sending, held: Fact) -> HttpResponse:
    """Somebody else changed it since the phone saw it.

    Raises
    ------
    DomainError
        When it is nothing that can be settled side by side; the phone keeps it.
    """
    if not isinstance(held, MaintenanceVisit):
        raise DomainError(
            f"“{held}” was changed by somebody else after this page was opened, so "
            "this change was not saved. Open it as it is now, and change it again if "
            "it still needs it."
        )
    words = "Somebody else changed this visit meanwhile: choose what to keep."
    send = send_keep(
        sending=sending, by=request.user, state=SendState.CLASH, message=words
    )
    target = reverse("installs:send-clash", args=[send.pk])
    send_finish(send=send, target=target, message=words, by=request.user)
    messages.warning(request, words)
    return _receipt(request, redirect(target), send, again=False)
