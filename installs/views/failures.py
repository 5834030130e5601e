"""Failures: the list, one failure, what is known of it, its claim and claim sheet."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from installs.forms.failures import ClaimForm, FailureForm
from installs.models import FailureReport, Installation
from installs.selectors import installation_tests
from installs.selectors.failures import (
    failure_facts,
    failure_list,
    not_reported,
    proposed_days,
)
from installs.services.failures import (
    failure_claim,
    failure_correct,
    failure_report,
)
from installs.views.common import installations, show_form
from wimprog.lib.web import form_page, form_status, needs, try_service


def _report(pk: int) -> FailureReport:
    return get_object_or_404(failure_list(), pk=pk)


@needs("installs.view_failurereport")
@require_safe
def failures(request: HttpRequest) -> HttpResponse:
    """Reported failures, and those of which only day and mode are known."""
    context = {"reports": list(failure_list()), "silent": list(not_reported())}
    return render(request, "installs/failure_list.html", context)


@needs("installs.view_failurereport")
@require_safe
def failure_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One failure: facts, bracket, warranty, claim, history."""
    return _page(request, _report(pk), None)


def _page(
    request: HttpRequest, report: FailureReport, form: ClaimForm | None
) -> HttpResponse:
    form = form or ClaimForm(
        initial={"claim": report.claim, "claim_ref": report.claim_ref}
    )
    context = {**failure_facts(report), "form": form}
    status = form_status(form)
    return render(request, "installs/failure_detail.html", context, status=status)


@needs("installs.view_failurereport")
@require_safe
def failure_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet that goes with a claim, for printing."""
    report = _report(pk)
    context = {
        **failure_facts(report),
        "tests": installation_tests(report.installation),
    }
    return render(request, "installs/failure_sheet.html", context)


@needs("installs.add_failurereport", "installs.change_installation")
@form_page
def failure_add(request: HttpRequest, installation: int) -> HttpResponse:
    """What is known of a failure whose life ended without a report."""
    life = get_object_or_404(installations(), pk=installation)
    kept = FailureReport.objects.filter(installation=life).first()
    if kept is not None:
        return redirect(kept)
    if life.ended_on is None:
        return redirect("installs:installation-end", pk=life.pk)
    form = _form(request, life)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: failure_report(
                installation=life,
                failure_mode=form.cleaned_data["failure_mode"],
                known=form.known,
                by=request.user,
                why=form.cleaned_data["why"],
            ),
        )
        if kept:
            messages.success(request, f"The failure of {life.sensor} is reported.")
            return redirect(kept)
    title, back = f"What is known of the failure in {life}", life.get_absolute_url()
    return show_form(request, form, title=title, back=back)


def _form(
    request: HttpRequest, life: Installation, report: FailureReport | None = None
) -> FailureForm:
    found_on = report.found_on if report else life.ended_on
    proposed = proposed_days(life, found_on or life.installed_on)
    data: Any = request.POST or None
    return FailureForm(data, installation=life, proposed=proposed, report=report)


@needs("installs.change_failurereport", "installs.change_installation")
@form_page
def failure_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what is known of a failure, with the reason."""
    report = _report(pk)
    form = _form(request, report.installation, report)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        kept = try_service(
            form,
            lambda: failure_correct(
                report=form.into(report),
                ended_on=data["ended_on"],
                by=request.user,
                why=data["why"],
            ),
        )
        if kept:
            messages.success(request, "The report is corrected.")
            return redirect(kept)
    title, back = "Correct what is known of the failure", report.get_absolute_url()
    return show_form(request, form, title=title, back=back)


@needs("installs.change_failurereport")
@require_POST
def failure_claim_set(request: HttpRequest, pk: int) -> HttpResponse:
    """How far the claim under the warranty is."""
    report = _report(pk)
    form = ClaimForm(request.POST)
    if form.is_valid() and try_service(
        form,
        lambda: failure_claim(report=report, by=request.user, **form.cleaned_data),
    ):
        messages.success(request, f"The claim is {form.cleaned_data['claim']}.")
        return redirect(report)
    return _page(request, report, form)
