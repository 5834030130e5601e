"""The form of a spreadsheet of electrical tests."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

SHEET_LIMIT_BYTES = 1_000_000


class TestSheetForm(forms.Form):
    """One spreadsheet of tests."""

    __test__ = False  # not a test case

    sheet = forms.FileField(
        label="Spreadsheet of tests (XLSX or CSV)",
        help_text="One row a test, on the first sheet: site, lane, position or serial, "
        "tested at, stage, tested by, and a column for each quantity.",
        widget=forms.FileInput(attrs={"accept": ".xlsx,.csv,.txt"}),
    )

    def clean_sheet(self) -> Any:
        sheet = self.cleaned_data["sheet"]
        if sheet.size > SHEET_LIMIT_BYTES:
            raise ValidationError(
                f"{sheet.name} has {sheet.size:,} bytes; a sheet of tests has at most "
                f"{SHEET_LIMIT_BYTES:,}. Is it the right file?"
            )
        return sheet
