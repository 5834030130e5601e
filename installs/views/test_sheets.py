"""A technician's spreadsheet of tests: shown first, kept when confirmed."""

from __future__ import annotations

import base64
from typing import Any

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from installs.calc.types import ElectricalQuantity, TestStage
from installs.forms.test_sheets import TestSheetForm
from installs.services.test_sheets import (
    TestSheetPlan,
    test_sheet_keep,
    tests_from_sheet,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs

SHEET_SALT = "installs.test-sheet"
SHEET_LIFE_S = 24 * 3600
SHOWN_ROWS = 20
SHOWN_COMPLAINTS = 200


@needs("installs.add_electricaltest")
@form_page
def tests_import(request: HttpRequest) -> HttpResponse:
    """Read and show a sheet; keep it when it is confirmed, all of it or nothing."""
    if "held" in request.POST:
        return _keep(request)
    form = TestSheetForm(request.POST or None, request.FILES or None)
    if not (request.method == "POST" and form.is_valid()):
        return _page(request, form, refused=form.is_bound)
    sheet = form.cleaned_data["sheet"]
    content, name = sheet.read(), sheet.name
    try:
        plan = tests_from_sheet(content=content, name=name)
    except DomainError as error:
        return _page(request, form, error=error)
    return _page(request, form, plan=plan, held=_sealed(request, content, name))


def _keep(request: HttpRequest) -> HttpResponse:
    try:
        content, name = _opened(request)
        plan = tests_from_sheet(content=content, name=name)
        made = test_sheet_keep(
            plan=plan,
            by=request.user,
            values_are_right="values_are_right" in request.POST,
        )
    except DomainError as error:
        return _page(request, TestSheetForm(), error=error)
    there = f"{len(plan.known)} of the sheet’s tests were kept already"
    if made:
        tests = "test is" if len(made) == 1 else "tests are"
        messages.success(request, f"{len(made)} {tests} kept; {there}.")
    else:
        messages.info(request, f"Nothing was added: all {there}.")
    return redirect("installs:sensor-list")


def _page(
    request: HttpRequest,
    form: TestSheetForm,
    *,
    plan: TestSheetPlan | None = None,
    error: DomainError | None = None,
    held: str = "",
    refused: bool = False,
) -> HttpResponse:
    complaints = error.complaints if error else plan.complaints if plan else ()
    context: dict[str, Any] = {
        "form": form,
        "plan": plan,
        "error": error,
        "held": held,
        "complaints": complaints[:SHOWN_COMPLAINTS],
        "n_complaints": len(complaints),
        "rows": (*plan.new, *plan.known)[:SHOWN_ROWS] if plan else (),
        "known_rows": {one.row for one in plan.known} if plan else set(),
        "stages": list(TestStage),
        "quantities": list(ElectricalQuantity),
    }
    refused = refused or bool(complaints) or error is not None
    status = 422 if refused else 200
    return render(request, "installs/tests_import.html", context, status=status)


def _sealed(request: HttpRequest, content: bytes, name: str) -> str:
    """The sheet as text that nobody can change between preview and confirming."""
    plain = [request.user.pk, name, base64.b64encode(content).decode()]
    return signing.dumps(plain, salt=SHEET_SALT, compress=True)


def _opened(request: HttpRequest) -> tuple[bytes, str]:
    try:
        whose, name, body = signing.loads(
            request.POST["held"], salt=SHEET_SALT, max_age=SHEET_LIFE_S
        )
    except signing.BadSignature:
        whose, name, body = None, "", ""
    if whose != request.user.pk:
        raise DomainError(
            "What was shown cannot be read any more; give the sheet again. Nothing was "
            "stored."
        )
    return base64.b64decode(body), name
