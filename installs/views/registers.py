"""The instruments and the product batches: lists, adding, changing."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

from installs.forms.registers import InstrumentForm, ProductBatchForm, RegisterSearch
from installs.models import Instrument, ProductBatch
from installs.selectors import in_date as selectors
from installs.services.registers import batch_save, instrument_save
from installs.views.common import show_form
from wimprog.lib.web import form_page, needs, try_service, unit_system

A_PAGE = 40


def _back(request: HttpRequest, name: str) -> str:
    """Where the form was opened from (``?next=``), or the list."""
    wanted = request.GET.get("next", "")
    ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if ours else reverse(name)


@needs("installs.view_instrument")
@require_safe
def instrument_list(request: HttpRequest) -> HttpResponse:
    """Every instrument with the state of its calibration, what is due first."""
    form = RegisterSearch(request.GET)
    q = form.cleaned_data["q"] if form.is_valid() else ""
    rows = selectors.instrument_rows(selectors.program_day(), q)
    context = {
        "form": form,
        "q": q,
        "page": Paginator(rows, A_PAGE).get_page(request.GET.get("page")),
        "any": Instrument.objects.exists(),
    }
    return render(request, "installs/instrument_list.html", context)


@needs("installs.add_instrument")
@form_page
def instrument_add(request: HttpRequest) -> HttpResponse:
    """An instrument that readings can name."""
    return _instrument_form(request, Instrument(), "Add an instrument")


@needs("installs.change_instrument")
@form_page
def instrument_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """An instrument calibrated anew, or written wrongly."""
    instrument = get_object_or_404(Instrument, pk=pk)
    return _instrument_form(request, instrument, f"Change {instrument}")


def _instrument_form(
    request: HttpRequest, instrument: Instrument, title: str
) -> HttpResponse:
    back = _back(request, "installs:instrument-list")
    form = InstrumentForm(
        request.POST or None, instance=instrument, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: instrument_save(
                instrument=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect(back)
    return show_form(request, form, title=title, back=back)


@needs("installs.view_productbatch")
@require_safe
def batch_list(request: HttpRequest) -> HttpResponse:
    """Every batch with whether it is still good, what expires first on top."""
    form = RegisterSearch(request.GET)
    q = form.cleaned_data["q"] if form.is_valid() else ""
    rows = selectors.batch_rows(selectors.program_day(), q)
    context = {
        "form": form,
        "q": q,
        "page": Paginator(rows, A_PAGE).get_page(request.GET.get("page")),
        "any": ProductBatch.objects.exists(),
    }
    return render(request, "installs/batch_list.html", context)


@needs("installs.add_productbatch")
@form_page
def batch_add(request: HttpRequest) -> HttpResponse:
    """A batch that records can name."""
    return _batch_form(request, ProductBatch(), "Add a product batch")


@needs("installs.change_productbatch")
@form_page
def batch_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """A batch that was written wrongly."""
    batch = get_object_or_404(ProductBatch, pk=pk)
    return _batch_form(request, batch, f"Change {batch}")


def _batch_form(request: HttpRequest, batch: ProductBatch, title: str) -> HttpResponse:
    back = _back(request, "installs:batch-list")
    form = ProductBatchForm(
        request.POST or None, instance=batch, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: batch_save(
                batch=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect(back)
    return show_form(request, form, title=title, back=back)
