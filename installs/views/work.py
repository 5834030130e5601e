"""The work list, one item of it, and what becomes of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import cautions
from installs.calc.upkeep.types import Urgency, WorkSource, WorkState
from installs.forms.work import (
    AssignForm,
    DoneForm,
    NoteForm,
    PlanForm,
    ReasonForm,
    SiteChoice,
    WorkFilter,
    WorkReportForm,
)
from installs.models import WorkItem
from installs.selectors.work import (
    evidence_of,
    row_of,
    work_counts,
    work_items,
    work_rows,
)
from installs.services import work as services
from installs.tables.work import WORK_HEADINGS, WorkTable, work_sheet
from installs.views.common import show_form
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system

VIEW = "installs.view_workitem"


def today_of(request: HttpRequest) -> dt.date:
    """The program's day."""
    return clock.today(request.program.time_zone)  # type: ignore[attr-defined]


@needs(VIEW)
@require_safe
def work_list(request: HttpRequest) -> HttpResponse:
    """All work from every source, most urgent first."""
    form = WorkFilter(request.GET)
    today = today_of(request)
    rows = work_rows(today, form.wanted(request.user))
    table = WorkTable(rows)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    counts = work_counts(today)
    context = {
        "form": form,
        "table": table,
        "n_shown": len(rows),
        "totals": urgency_totals(counts),
        "any": bool(rows) or WorkItem.objects.exists(),
    }
    return render(request, "installs/work_list.html", context)


@needs(VIEW)
@require_safe
def work_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The work as filtered, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    today = today_of(request)
    rows = work_rows(today, WorkFilter(request.GET).wanted(request.user))
    return export_rows(
        name=f"work-{today}",
        fmt=fmt,
        headings=WORK_HEADINGS,
        rows=work_sheet(rows),
        note=f"wimprog, as of {today}",
    )


@needs(VIEW)
@require_safe
def work_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One item: how soon and why, what it rests on, what was done and by whom."""
    item = get_object_or_404(
        work_items().select_related(
            "found_at_visit__wim_site", "done_at_visit__wim_site"
        ),
        pk=pk,
    )
    context = {
        "item": item,
        "row": row_of(item, today_of(request)),
        "evidence": evidence_of(item),
        "acts": acts_of(item),
        "cautions": cautions.ANY_VISIT,
        "history": item.history.select_related("history_user", "trip")[:40],
    }
    return render(request, "installs/work_detail.html", context)


@needs("installs.add_workitem")
@form_page
def work_add(request: HttpRequest) -> HttpResponse:
    """Somebody told us: first the site (``?site=CODE``), then what."""
    code = request.GET.get("site", "")
    back = reverse("installs:work-list")
    if not code:
        context = {"form": SiteChoice(), "back": back}
        return render(request, "installs/work_site.html", context)
    wim_site = get_object_or_404(Site, code=code)
    item = WorkItem(wim_site=wim_site, source=WorkSource.REPORT.value)
    title = f"Report work at {wim_site.code}"
    return _report(request, item, title=title, back=back)


@needs("installs.change_workitem")
@form_page
def work_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what a person told; what the program found follows its evidence."""
    item = get_object_or_404(work_items(), pk=pk)
    if item.source_key:
        messages.warning(
            request,
            "The program keeps the words of what it found up to date by itself; "
            "assign it, plan it, or close it as not needed.",
        )
        return redirect(item)
    return _report(request, item, title=f"Change {item}", back=item.get_absolute_url())


def _report(
    request: HttpRequest, item: WorkItem, *, title: str, back: str
) -> HttpResponse:
    today = clock.today(item.wim_site.time_zone)
    form = WorkReportForm(
        request.POST or None,
        instance=item,
        system=unit_system(request),
        initial={} if item.pk else {"since_on": today},
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.work_report(
                item=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "It is on the work list.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


# --- what becomes of it --------------------------------------------------------------


@dataclass(frozen=True)
class Act:
    """One thing that can be done with an item: the button's word, its form, the call.

    ``leads_to`` is the state after it; ``said`` is told when it worked.
    """

    word: str
    leads_to: WorkState
    form: Callable[..., Any]
    call: Callable[..., WorkItem]
    said: str


def _by(service: str) -> Callable[..., WorkItem]:
    """The service's call on an item with what its form gave."""

    def call(item: WorkItem, found: dict[str, Any], by: Any) -> WorkItem:
        kept: WorkItem = getattr(services, service)(item=item, by=by, **found)
        return kept

    return call


_S = WorkState
ACTS: dict[str, Act] = {
    "done": Act("It is done", _S.DONE, DoneForm, _by("work_done"), "Noted as done."),
    "assign": Act(
        "Give it to somebody",
        _S.ASSIGNED,
        AssignForm,
        _by("work_assign"),
        "It is given.",
    ),
    "plan": Act(
        "Put it on a trip", _S.PLANNED, PlanForm, _by("work_plan"), "It is on the trip."
    ),
    "release": Act(
        "Take it back",
        _S.FOUND,
        NoteForm,
        _by("work_release"),
        "It is on the list again.",
    ),
    "verify": Act(
        "Looked at, it is good", _S.VERIFIED, NoteForm, _by("work_verify"), "Verified."
    ),
    "drop": Act(
        "Not needed",
        _S.NOT_NEEDED,
        ReasonForm,
        _by("work_drop"),
        "Closed as not needed.",
    ),
    "reopen": Act(
        "Open it again", _S.FOUND, ReasonForm, _by("work_reopen"), "It is open again."
    ),
}


CLOSED_ONES = (WorkState.DONE, WorkState.NOT_NEEDED)


def acts_of(item: WorkItem) -> list[tuple[str, Act]]:
    """What may follow on an item's state, in the order of the buttons."""
    state = WorkState(item.state)
    open_ones = {"release": (_S.ASSIGNED, _S.PLANNED), "reopen": CLOSED_ONES}
    found = []
    for key, act in ACTS.items():
        here = open_ones.get(key)
        again = key == "assign" and state in (_S.ASSIGNED, _S.PLANNED)
        again = again or (key == "plan" and state is _S.PLANNED)
        if again or (
            act.leads_to in state.may_become and (here is None or state in here)
        ):
            found.append((key, act))
    return found


@needs("installs.change_workitem")
@form_page
def work_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Do one thing with an item; what cannot follow is refused in words."""
    if act not in ACTS:
        raise Http404("no such act")
    item = get_object_or_404(work_items(), pk=pk)
    doing = ACTS[act]
    more = (
        {"item": item, "today": clock.today(item.wim_site.time_zone)}
        if doing.form is DoneForm
        else {}
    )
    form = doing.form(request.POST if request.method == "POST" else None, **more)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form, lambda: doing.call(item, form.cleaned_data, request.user)
        )
        if kept:
            messages.success(request, doing.said)
            return redirect(kept)
    context = {"item": item, "row": row_of(item, today_of(request))}
    title, back = f"{doing.word}: {item.wim_site.code}", item.get_absolute_url()
    return show_form(request, form, title=title, back=back, **context)


def urgency_totals(counts: dict[Urgency, int]) -> list[dict[str, Any]]:
    """Numbers of open work for a line of totals, most urgent first."""
    return [
        {"word": str(urgency), "condition": urgency.condition, "n": n}
        for urgency, n in counts.items()
    ]
