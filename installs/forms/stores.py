"""Forms of the store and of purchases."""

from __future__ import annotations

from typing import Any

from django import forms

from installs.calc.upkeep.types import StockMove
from installs.models import Purchase, Sensor, SparePart, StockEntry
from installs.selectors.purchases import sensors_without
from wimprog.lib.forms import DateInput, FactForm

#: Sensors without a purchase that are offered to be ticked; others go by number.
SENSORS_OFFERED = 100
#: What people book by hand; parts used are booked by the visit that used them.
BOOKED_HERE = (
    StockMove.RECEIVED,
    StockMove.COUNTED,
    StockMove.SCRAPPED,
    StockMove.RETURNED,
)


class PurchaseSearch(forms.Form):
    """Which purchases to show."""

    q = forms.CharField(
        label="Search",
        required=False,
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="Order, supplier, what was bought, or a serial number.",
    )


class SparePartForm(FactForm):
    """A part of the store's list."""

    class Meta:
        model = SparePart
        fields = [
            "name",
            "sensor_model",
            "place",
            "lead_time_days",
            "service_level",
            "used_per_year",
            "least_wanted",
            "unit_price",
            "note",
        ]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        labels = {
            "sensor_model": "Sensor model, when it is a sensor",
            "lead_time_days": "An order takes, days",
            "service_level": "Chance wanted of having enough, 0 to 1",
            "used_per_year": "Used in a year",
            "least_wanted": "Never fewer than",
            "unit_price": "Price of one",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sensor_model"].empty_label = "not a sensor"  # type: ignore[attr-defined]

    def clean_service_level(self) -> float:
        """A chance of exactly 0 or 1 asks for nothing, or for no end of parts."""
        level: float = self.cleaned_data["service_level"]
        if not 0.0 < level < 1.0:
            raise forms.ValidationError(
                f"Found {level:g}; expected a chance above 0 and below 1, such as 0.9."
            )
        return level


class StockEntryForm(FactForm):
    """What came into the store or left it, other than at a visit."""

    class Meta:
        model = StockEntry
        fields = ["move", "quantity", "moved_on", "purchase", "note"]
        widgets = {"moved_on": DateInput()}
        labels = {
            "move": "What happened",
            "quantity": "How many",
            "moved_on": "On",
            "purchase": "Came with the purchase",
        }
        help_texts = {
            "quantity": "For a count: how many lie there now.",
            "purchase": "Only for what was received.",
            "note": "Such as why it was scrapped, or which entry this corrects.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = [(word.value, word.value) for word in BOOKED_HERE]
        self.fields["move"] = forms.ChoiceField(
            label="What happened", choices=words, widget=forms.RadioSelect
        )
        part = self.instance.spare_part
        bought = Purchase.objects.filter(sensor_model=None)
        if part.sensor_model_id:
            bought = bought | Purchase.objects.filter(sensor_model=part.sensor_model_id)
        box: Any = self.fields["purchase"]
        box.queryset, box.empty_label = bought, "none"


class PurchaseForm(FactForm):
    """An order of sensors or parts, and its terms of warranty."""

    class Meta:
        model = Purchase
        fields = [
            "order_ref",
            "supplier",
            "bought_on",
            "what",
            "sensor_model",
            "spare_part",
            "quantity",
            "expected_on",
            "unit_price",
            "warranty_months",
            "warranty_start",
            "full_months",
            "latest_months_from_purchase",
            "terms",
        ]
        widgets = {
            "bought_on": DateInput(),
            "expected_on": DateInput(),
            "terms": forms.Textarea(attrs={"rows": 4}),
        }
        labels = {
            "sensor_model": "Sensor model, when it is of sensors",
            "spare_part": "For the store, as",
            "quantity": "How many",
            "expected_on": "Expected on",
            "unit_price": "Price of one",
            "warranty_months": "Warranty, months",
            "warranty_start": "Months counted from",
            "full_months": "Months of full cover",
            "latest_months_from_purchase": "Ends at the latest, months from purchase",
            "terms": "Terms in words",
        }
        help_texts = {"warranty_months": "Empty: no terms are known."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sensor_model"].empty_label = "not of sensors"  # type: ignore[attr-defined]
        self.fields["spare_part"].empty_label = "not for the store"  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Full cover is part of a warranty, so it needs the months of one."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        if found.get("full_months") is not None and not found.get("warranty_months"):
            self.add_error(
                "full_months", "Give the months of the warranty too, or leave it empty."
            )
        part, number = found.get("spare_part"), found.get("quantity")
        if part is not None and number is None:
            self.add_error("quantity", "Say how many were ordered for the store.")
        model = found.get("sensor_model")
        if part is not None and model and part.sensor_model_id != model.pk:
            self.add_error(
                "spare_part", f"{part} is not the store's part of {model}; choose it."
            )
        bought, expected = found.get("bought_on"), found.get("expected_on")
        if bought and expected and expected < bought:
            self.add_error("expected_on", f"It lies before the purchase ({bought}).")
        return found


class PurchaseSensorsForm(forms.Form):
    """Which sensors came with a purchase: ticked, or by their serial numbers."""

    sensors = forms.ModelMultipleChoiceField(
        Sensor.objects.none(),
        label="Came with this purchase",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Those of its model that no purchase is entered for are offered.",
    )
    serials = forms.CharField(
        label="Others, by serial number",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}),
        help_text="One a line, or parted by commas.",
    )
    why = forms.CharField(label="Why", required=False, max_length=100)

    def __init__(self, *args: Any, purchase: Purchase, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own = list(purchase.sensors.values_list("pk", flat=True))
        free = list(sensors_without(purchase).values_list("pk", flat=True))
        box: Any = self.fields["sensors"]
        box.queryset = (
            Sensor.objects.filter(pk__in=own + free[:SENSORS_OFFERED])
            .select_related("model")
            .order_by("serial")
        )
        box.initial = own
        if len(free) > SENSORS_OFFERED:
            box.help_text = (
                f"The first {SENSORS_OFFERED} of {len(free)} sensors of its model that "
                "no purchase is entered for are offered; name others below."
            )
