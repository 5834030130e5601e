"""The store: what there is, whether it is enough, and what is booked."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs.figures_stores import stock_chart
from installs.forms.stores import SparePartForm, StockEntryForm
from installs.models import SparePart, StockEntry
from installs.selectors.stores import ledger_of, store_row, store_rows
from installs.services.stores import spare_save, stock_move
from installs.tables.stores import STORE_HEADINGS, StoreTable, store_sheet
from installs.views.common import show_form
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system

LEDGER_SHOWN = 200


def today_of(request: HttpRequest) -> dt.date:
    """The program's day."""
    return clock.today(request.program.time_zone)  # type: ignore[attr-defined]


@needs("installs.view_sparepart")
@require_safe
def store_list(request: HttpRequest) -> HttpResponse:
    """Every part with whether it is enough, the most pressing first."""
    program = request.program  # type: ignore[attr-defined]
    rows = store_rows(program, today_of(request))
    table = StoreTable(rows, currency=program.currency)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    words = {row.word: row.condition for row in rows}
    context = {
        "table": table,
        "rows": rows,
        "totals": [
            {"word": word, "condition": mark, "n": sum(r.word == word for r in rows)}
            for word, mark in words.items()
        ],
        "worth": sum(row.value or 0 for row in rows),
        "n_unpriced": sum(row.value is None for row in rows),
    }
    return render(request, "installs/store_list.html", context)


@needs("installs.view_sparepart")
@require_safe
def store_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The store for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    today = today_of(request)
    rows = store_rows(request.program, today)  # type: ignore[attr-defined]
    return export_rows(
        name=f"store-{today}",
        fmt=fmt,
        headings=STORE_HEADINGS,
        rows=store_sheet(rows),
        note=f"wimprog, as of {today}",
    )


@needs("installs.view_sparepart")
@require_safe
def spare_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One part: whether it is enough and why, its count by time, every entry."""
    part = get_object_or_404(SparePart.objects.select_related("sensor_model"), pk=pk)
    today = today_of(request)
    row = store_row(part, request.program, today)  # type: ignore[attr-defined]
    ledger = ledger_of(part)
    context = {
        "part": part,
        "row": row,
        "ledger": ledger[::-1][:LEDGER_SHOWN],
        "n_ledger": len(ledger),
        "drawing": stock_chart(part.name, ledger, row.minimum, today)
        if ledger
        else None,
        "history": part.history.select_related("history_user")[:20],
    }
    return render(request, "installs/spare_detail.html", context)


@needs("installs.add_sparepart")
@form_page
def spare_add(request: HttpRequest) -> HttpResponse:
    """A part that the store will keep."""
    back = reverse("installs:store-list")
    return _part_form(request, SparePart(), "Add a part to the store", back)


@needs("installs.change_sparepart")
@form_page
def spare_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """A part's lead time, price or minimum."""
    part = get_object_or_404(SparePart, pk=pk)
    return _part_form(request, part, f"Change {part}", part.get_absolute_url())


def _part_form(
    request: HttpRequest, part: SparePart, title: str, back: str
) -> HttpResponse:
    form = SparePartForm(
        request.POST or None, instance=part, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: spare_save(
                part=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is on the store’s list.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs("installs.add_stockentry")
@form_page
def stock_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Book what came, what was counted, scrapped or brought back."""
    part = get_object_or_404(SparePart.objects.select_related("sensor_model"), pk=pk)
    today = today_of(request)
    form = StockEntryForm(
        request.POST or None,
        instance=StockEntry(spare_part=part),
        system=unit_system(request),
        initial={
            "moved_on": today,
            "move": request.GET.get("move", ""),
            "purchase": request.GET.get("purchase"),
        },
    )
    if request.method == "POST" and form.is_valid():
        told = try_service(
            form,
            lambda: stock_move(
                entry=form.save(commit=False), today=today, by=request.user
            ),
        )
        if told is not None:
            messages.success(request, "It is booked.")
            for line in told:
                messages.warning(request, line)
            return redirect(part)
    title, back = f"Book for {part}", part.get_absolute_url()
    return show_form(request, form, title=title, back=back)
