"""Through the years: the due list, its feed, one lane's years, the settings."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.contrib.auth import get_user_model
from django.core import signing
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_safe

from calibration import selectors
from calibration.forms.agency import CONVERTED, CalibrationSettingsForm, shown_converted
from calibration.selectors import years
from calibration.selectors.references import changes_of, settings_get
from calibration.services.agency import calibration_settings_save
from calibration.views.common import VIEW, show_form
from installs.selectors.work_calendar import work_events
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.units import UnitSystem
from wimprog.lib.web import attachment, form_page, needs, try_service, unit_system

PER_PAGE = 20
FEED_SALT = "calibration.due-feed"
SETTINGS_TOLD = {
    name: str(CalibrationSettingsForm.base_fields[name].label or name)
    for name in CalibrationSettingsForm.Meta.fields
}


def _today(request: HttpRequest) -> Any:
    return clock.today(request.program.time_zone)  # type: ignore[attr-defined]


@needs(*VIEW)
@require_safe
def due_list(request: HttpRequest) -> HttpResponse:
    """When each lane is next due, why then, and whether a session pays."""
    program, today = request.program, _today(request)  # type: ignore[attr-defined]
    dues = list(selectors.lane_dues(program, today).values())
    page = Paginator(dues, PER_PAGE).get_page(request.GET.get("page"))
    settings = settings_get()
    worths = years.lane_worths(page.object_list, program, today)
    context = {
        "page": page,
        "rows": [{"due": one, "worth": worths.get(one.lane.pk)} for one in page],
        "settings": settings,
        "missing_costs": years.missing_costs(settings),
        "feed_url": request.build_absolute_uri(
            reverse("calibration:due-feed", args=[feed_token(request.user)])
        ),
    }
    return render(request, "calibration/due_list.html", context)


@needs(*VIEW)
@require_safe
def due_list_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The due list for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    program, today = request.program, _today(request)  # type: ignore[attr-defined]
    headings, rows = years.due_cells(selectors.lane_dues(program, today).values())
    return export_rows(
        name=f"calibration-due-{today}", fmt=fmt, headings=headings, rows=rows
    )


def feed_token(user: Any) -> str:
    """The signed part of a user's own feed address.

    It holds nothing but the user's number and a mark of their password: a new password
    or a withdrawn account or permission ends it.
    """
    value = {"user": user.pk, "mark": user.get_session_auth_hash()[:16]}
    return signing.dumps(value, salt=FEED_SALT)


def _feed_user(token: str) -> Any | None:
    """Whose feed it is; None where the address is not, or no longer, good."""
    try:
        value = signing.loads(token, salt=FEED_SALT)
    except signing.BadSignature:
        return None
    user = get_user_model().objects.filter(pk=value["user"], is_active=True).first()
    if user is None:
        return None
    mark = user.get_session_auth_hash()[:16]
    return user if constant_time_compare(mark, value["mark"]) else None


def needs_feed_address(
    *permissions: str,
) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """Let in who holds a signed address whose user has the permissions today."""

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, token: str) -> HttpResponse:
            user = _feed_user(token)
            if user is None or not user.has_perms(permissions):
                raise Http404("There is no such feed.")
            request.user = user  # the address stands for its user
            return view(request)

        guarded.needed_permissions = permissions  # type: ignore[attr-defined]
        return guarded

    return decorate


@needs(*VIEW)
@require_safe
def due_calendar(request: HttpRequest) -> HttpResponse:
    """The due list as a calendar file, for those who have signed in."""
    return _calendar(request)


@needs_feed_address(*VIEW)
@require_safe
def due_feed(request: HttpRequest) -> HttpResponse:
    """The due list for a calendar program, which cannot sign in."""
    answer = _calendar(request)
    answer["Cache-Control"] = "private, no-store"
    return answer


def _calendar(request: HttpRequest) -> HttpResponse:
    from calibration.calc.calendar_feed import calendar_bytes

    program, today = request.program, _today(request)  # type: ignore[attr-defined]
    entries = [one.entry for one in selectors.lane_dues(program, today).values()]
    may_see_work = request.user.has_perm("installs.view_workitem")
    others = work_events(today) if may_see_work else []
    content = calendar_bytes(
        entries, agency=program.name, now=clock.now(), others=others
    )
    return attachment(
        content, name="due.ics", content_type="text/calendar; charset=utf-8"
    )


@needs(*VIEW)
@require_safe
def lane_years(request: HttpRequest, pk: int) -> HttpResponse:
    """One lane's calibration through the years."""
    from calibration import figures_years as figures

    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=pk)
    today = _today(request)
    page = years.lane_years(lane, request.program, today)  # type: ignore[attr-defined]
    context = {
        "lane": lane,
        "page": page,
        "bias_chart": figures.bias_chart(page, today),
        "spread_chart": figures.spread_chart(page),
        "factor_chart": figures.factor_chart(page),
    }
    return render(request, "calibration/years_lane.html", context)


@needs(*VIEW)
@require_safe
def lane_years_export(request: HttpRequest, pk: int, fmt: str) -> HttpResponse:
    """A lane's sessions for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=pk)
    page = years.lane_years(lane, request.program, _today(request))  # type: ignore[attr-defined]
    headings, rows = years.year_cells(page)
    name = f"{lane.wim_site.code}-{lane.label}-calibrations"
    return export_rows(name=name, fmt=fmt, headings=headings, rows=rows)


@needs("calibration.view_calibrationsettings")
@require_safe
def settings_page(request: HttpRequest) -> HttpResponse:
    """How the agency decides about calibrations."""
    settings, system = settings_get(), UnitSystem(unit_system(request))
    context = {
        "settings": settings,
        "converted": {
            name: (shown_converted(settings, name, system), symbol)
            for name, (symbol, _, _) in CONVERTED[system].items()
        },
        "missing_costs": years.missing_costs(settings),
        "changes": changes_of(settings, shown=SETTINGS_TOLD) if settings.pk else [],
    }
    return render(request, "calibration/years_settings.html", context)


@needs("calibration.change_calibrationsettings")
@form_page
def settings_edit(request: HttpRequest) -> HttpResponse:
    """Change how the agency decides about calibrations."""
    form = CalibrationSettingsForm(
        request.POST or None, instance=settings_get(), system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: calibration_settings_save(
                settings=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The calibration settings are kept.")
            return redirect("calibration:settings")
    back = reverse("calibration:settings")
    return show_form(request, form, title="Change calibration settings", back=back)
