"""Purchases: the orders, their sensors, and what their warranty covers."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs.forms.stores import PurchaseForm, PurchaseSearch, PurchaseSensorsForm
from installs.models import Purchase
from installs.selectors.purchases import ending_covers, purchase_list, purchase_page
from installs.services.purchases import (
    purchase_save,
    purchase_sensors,
    sensors_by_serial,
)
from installs.tables.stores import PurchaseTable
from installs.views.common import show_form
from installs.views.stores import today_of
from wimprog.lib.web import form_page, needs, try_service, unit_system


@needs("installs.view_purchase")
@require_safe
def purchases(request: HttpRequest) -> HttpResponse:
    """Every purchase, and the warranties that end soon."""
    form = PurchaseSearch(request.GET)
    q = form.cleaned_data["q"] if form.is_valid() else ""
    table = PurchaseTable(purchase_list(q))
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "form": form,
        "q": q,
        "table": table,
        "any": Purchase.objects.exists(),
        "ending": ending_covers(today_of(request)),
    }
    return render(request, "installs/purchase_list.html", context)


@needs("installs.view_purchase")
@require_safe
def purchase_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One purchase: terms, sensors, and failures held against the terms."""
    purchase = get_object_or_404(
        Purchase.objects.select_related("sensor_model", "spare_part"), pk=pk
    )
    context = {
        "purchase": purchase,
        "page": purchase_page(purchase),
        "today": today_of(request),
        "received": purchase.stock_entries.select_related("spare_part"),
        "history": purchase.history.select_related("history_user")[:20],
    }
    return render(request, "installs/purchase_detail.html", context)


@needs("installs.add_purchase")
@form_page
def purchase_add(request: HttpRequest) -> HttpResponse:
    """An order and its terms."""
    back = reverse("installs:purchase-list")
    return _purchase_form(request, Purchase(), "Add a purchase", back)


@needs("installs.change_purchase")
@form_page
def purchase_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """An order written wrongly, or terms learned later."""
    purchase = get_object_or_404(Purchase, pk=pk)
    back = purchase.get_absolute_url()
    return _purchase_form(request, purchase, f"Change {purchase}", back)


def _purchase_form(
    request: HttpRequest, purchase: Purchase, title: str, back: str
) -> HttpResponse:
    form = PurchaseForm(
        request.POST or None, instance=purchase, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = form.save(commit=False)
        told = try_service(
            form,
            lambda: purchase_save(
                purchase=kept,
                today=today_of(request),
                by=request.user,
                why=form.reason,
            ),
        )
        if told is not None:
            return _kept(request, kept, told)
    return show_form(request, form, title=title, back=back)


@needs("installs.change_purchase")
@form_page
def purchase_sensors_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Which sensors came with an order."""
    purchase = get_object_or_404(Purchase.objects.select_related("sensor_model"), pk=pk)
    form = PurchaseSensorsForm(request.POST or None, purchase=purchase)
    if request.method == "POST" and form.is_valid():
        found = form.cleaned_data
        told = try_service(
            form,
            lambda: purchase_sensors(
                purchase=purchase,
                sensors=[
                    *found["sensors"],
                    *sensors_by_serial(found["serials"], purchase),
                ],
                by=request.user,
                why=found["why"],
            ),
        )
        if told is not None:
            return _kept(request, purchase, told)
    title, back = f"Sensors of {purchase}", purchase.get_absolute_url()
    return show_form(request, form, title=title, back=back)


def _kept(request: HttpRequest, purchase: Purchase, told: list[str]) -> HttpResponse:
    messages.success(request, f"{purchase} is kept.")
    for line in told:
        messages.warning(request, line)
    return redirect(purchase)
