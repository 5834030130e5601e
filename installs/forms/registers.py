"""Forms of the instruments and the product batches."""

from __future__ import annotations

from typing import Any

from django import forms

from installs.models import Instrument, ProductBatch
from wimprog.lib.forms import DateInput, FactForm


class RegisterSearch(forms.Form):
    """Which instruments or batches to show."""

    q = forms.CharField(
        label="Search", required=False, widget=forms.TextInput(attrs={"type": "search"})
    )


class InstrumentForm(FactForm):
    """A meter, gauge or tape, and its calibration."""

    class Meta:
        model = Instrument
        fields = ["kind", "serial", "calibrated_on", "calibration_due_on", "note"]
        widgets = {
            "calibrated_on": DateInput(),
            "calibration_due_on": DateInput(),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "kind": "What it is",
            "serial": "Serial number",
            "calibrated_on": "Last calibrated on",
            "calibration_due_on": "Calibration holds until",
        }
        help_texts = {
            "calibration_due_on": "A reading taken later needs a reason beside it.",
            "note": "Such as where the certificate is kept.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.fields["why"].help_text = "Such as “calibrated anew”."


class ProductBatchForm(FactForm):
    """A batch of resin, sealant or another product, by its lot."""

    class Meta:
        model = ProductBatch
        fields = ["product", "lot", "expires_on", "curing_table"]
        widgets = {"expires_on": DateInput()}
        labels = {"lot": "Lot, as printed", "expires_on": "Good until"}
        help_texts = {
            "expires_on": "The last good day printed on it; used later, it needs a "
            "reason.",
            "curing_table": "For resin: its maker’s table of hardener, pot life and "
            "cure.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["curing_table"].empty_label = "none"  # type: ignore[attr-defined]
