"""What the agency works by: its settings, and its makers' curing tables."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from installs.forms.workshop import (
    CuringTableForm,
    WorkSettingsForm,
    curing_rows_formset,
)
from installs.models import CuringTable
from installs.selectors import plans as selectors
from installs.selectors.quantities import usual_hours
from installs.services.plans import curing_table_save, work_settings_save
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


@needs("installs.view_worksettings")
@require_safe
def work_settings(request: HttpRequest) -> HttpResponse:
    """What plans are reckoned and judged by."""
    work = selectors.work_settings_get()
    form = WorkSettingsForm(
        instance=work, system=unit_system(request), usual_hours=usual_hours()
    )
    context = {"work": work, "groups": form.groups}
    return render(request, "installs/work_settings.html", context)


@needs("installs.change_worksettings")
@form_page
def work_settings_edit(request: HttpRequest) -> HttpResponse:
    """Write the agency's own figures."""
    form = WorkSettingsForm(
        request.POST or None,
        instance=selectors.work_settings_get(),
        system=unit_system(request),
        usual_hours=usual_hours(),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: work_settings_save(
                work=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The work settings are kept.")
            return redirect("installs:work-settings")
    context = {"form": form}
    status = form_status(form)
    return render(request, "installs/work_settings_form.html", context, status=status)


@needs("installs.view_curingtable")
@require_safe
def curing_list(request: HttpRequest) -> HttpResponse:
    """The makers' curing tables."""
    context = {"tables": selectors.curing_tables()}
    return render(request, "installs/curing_list.html", context)


@needs("installs.view_curingtable")
@require_safe
def curing_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One maker's table, row by row."""
    table = get_object_or_404(CuringTable, pk=pk)
    context = {
        "curing": table,
        "rows": table.rows.all(),
        "history": table.history.select_related("history_user")[:20],
    }
    return render(request, "installs/curing_detail.html", context)


@needs("installs.add_curingtable")
@form_page
def curing_add(request: HttpRequest) -> HttpResponse:
    """Copy a maker's table."""
    return _curing_form(request, CuringTable(), title="Add a curing table")


@needs("installs.change_curingtable")
@form_page
def curing_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a maker's table."""
    table = get_object_or_404(CuringTable, pk=pk)
    return _curing_form(request, table, title=f"Change {table}")


def _curing_form(
    request: HttpRequest, table: CuringTable, *, title: str
) -> HttpResponse:
    system, data = unit_system(request), request.POST or None
    form = CuringTableForm(data, instance=table, system=system)
    rows = curing_rows_formset(data, table=table, system=system)
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        kept = try_service(
            form,
            lambda: curing_table_save(
                table=form.save(commit=False),
                rows=rows.rows,
                by=request.user,
                why=form.reason,
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect("installs:curing-detail", kept.pk)
    wrong = form.is_bound and (form.errors or not rows.is_valid())
    context = {"form": form, "rows": rows, "title": title, "curing": table}
    status = 422 if wrong else 200
    return render(request, "installs/curing_form.html", context, status=status)
