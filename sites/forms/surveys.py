"""Forms of surveys: what was measured, a profile sent in, a site made of a place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from django import forms
from django.db.models import BooleanField

from sites.calc.profile_layout import ProfileColumns
from sites.calc.profile_words import DistanceUnit, ElevationUnit
from sites.calc.suitability.base import E1318_TYPES
from sites.calc.survey_bounds import BOUNDS, doubt_of
from sites.forms.places import PlaceForm
from sites.models import SURVEY_GROUPS, Lane, Site, SiteSurvey
from wimprog.lib.forms import DateInput, MeasureField, PlainNumberField
from wimprog.lib.units import Kind, Typed, UnitSystem

WHERE = (
    "wim_site",
    "lane",
    "place",
    "route",
    "location_ref",
    "latitude",
    "longitude",
    "study",
)
WHEN = ("surveyed_on", "surveyed_by", "wanted_type")
_MEASURED = tuple(name for _, names in SURVEY_GROUPS for name in names)


class SurveyForm(PlaceForm):
    """A survey, in the groups in which a crew walks through it."""

    sure = forms.BooleanField(
        label="The unusual values are right: I looked again",
        required=False,
        help_text="Mend the values in question above, or tick this and save again.",
    )

    class Meta:
        model = SiteSurvey
        fields = [*WHERE, *WHEN, *_MEASURED, "notes"]
        widgets = {
            "surveyed_on": DateInput(),
            "distress": forms.Textarea(attrs={"rows": 2}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_questioned = False
        for name in _MEASURED:
            if isinstance(SiteSurvey._meta.get_field(name), BooleanField):
                self._ask_yes_or_no(name)
            elif isinstance(self.fields[name], forms.TypedChoiceField):
                first = self.fields[name].choices[1:]  # type: ignore[attr-defined]
                self.fields[name].choices = [("", "not seen"), *first]  # type: ignore[attr-defined]
            elif isinstance(self.fields[name], forms.FloatField):
                self._plain_number(name)
        self.fields["wim_site"].empty_label = "none: a candidate place"  # type: ignore[attr-defined]
        lanes = Lane.objects.select_related("wim_site")
        if self.instance.wim_site_id and not self.is_bound:
            lanes = lanes.filter(wim_site_id=self.instance.wim_site_id)
        self.fields["lane"].queryset = lanes  # type: ignore[attr-defined]
        self.fields["lane"].empty_label = "not one lane alone"  # type: ignore[attr-defined]
        self.fields["lane"].help_text = "Of the existing site."
        self.fields["wim_site"].help_text = "Or describe a candidate place below."

    def _ask_yes_or_no(self, name: str) -> None:
        field = self.fields[name]
        self.fields[name] = forms.TypedChoiceField(
            label=field.label,
            help_text=field.help_text,
            required=False,
            choices=[("", "not seen"), ("yes", "yes"), ("no", "no")],
            coerce=lambda word: word == "yes",
            empty_value=None,
        )
        kept = getattr(self.instance, name)
        self.initial[name] = {True: "yes", False: "no"}.get(kept, "")

    def _plain_number(self, name: str) -> None:
        """Show 4, not 4.0, and take numbers as people type them."""
        kept = getattr(self.instance, name)
        self.initial[name] = "" if kept is None else f"{kept:g}"
        field = self.fields[name]
        self.fields[name] = PlainNumberField(
            label=field.label, help_text=field.help_text, required=False
        )

    @property
    def groups(self) -> Iterator[tuple[str, str, list[forms.BoundField]]]:
        """Title, address within the page and boxes of each group."""
        groups = (
            ("Where", WHERE),
            ("When, who, what for", WHEN),
            *SURVEY_GROUPS,
            ("Notes", ("notes",)),
        )
        for title, names in groups:
            key = title.split(",")[0].lower()
            yield title, key, [self[name] for name in names]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        lane = found.get("lane")
        if lane is not None and found.get("wim_site") is None:
            found["wim_site"] = lane.wim_site
        self._check_place(found)
        is_sure = bool(found.get("sure"))
        self.is_questioned = is_sure
        for name in _MEASURED:
            if name in BOUNDS and found.get(name) is not None:
                self._check_number(name, found[name], is_sure=is_sure)
        return found

    def _check_place(self, found: dict[str, Any]) -> None:
        site, place = found.get("wim_site"), found.get("place")
        if site is not None and place:
            self.add_error(
                "place",
                f"This survey is of {site.code} already. Leave the candidate place "
                "empty, or choose no existing site.",
            )
        elif site is None and not place and "wim_site" not in self.errors:
            self.add_error(
                "place",
                "Name the candidate place, or choose the existing site above.",
            )

    def _check_number(self, name: str, value: Any, *, is_sure: bool) -> None:
        """Refuse what cannot be, question what is unusual; in the program's units."""
        value_si = value.value_si if isinstance(value, Typed) else float(value)
        label = str(self.fields[name].label).removesuffix(", %")
        doubt = doubt_of(
            name, value_si, label=label[:1].lower() + label[1:], system=self.system
        )
        if doubt is not None and (doubt.is_impossible or not is_sure):
            self.add_error(name, doubt.message)
            self.is_questioned = self.is_questioned or not doubt.is_impossible


class ProfileForm(forms.Form):
    """A road profile sent in."""

    upload = forms.FileField(
        label="Profile",
        help_text="CSV or other delimited text: the distance along the road and the "
        "elevation of one or both wheel paths, a line a sample, at most 250 mm apart "
        "(AASHTO M 331 asks for 25 mm), with a heading that says what is what and in "
        "which unit, such as “distance (m), left elevation (mm), right elevation "
        "(mm)”.",
    )
    distance_unit = forms.ChoiceField(
        label="Unit of the distance",
        required=False,
        choices=[
            ("", "as the heading says"),
            *((u.value, u.value) for u in DistanceUnit),
        ],
    )
    elevation_unit = forms.ChoiceField(
        label="Unit of the elevation",
        required=False,
        choices=[
            ("", "as the heading says"),
            *((u.value, u.value) for u in ElevationUnit),
        ],
    )
    distance = forms.CharField(
        label="Column of the distance",
        required=False,
        max_length=80,
        help_text="Its heading, exactly; only where the file leaves it open.",
    )
    left = forms.CharField(
        label="Column of the left wheel path", required=False, max_length=80
    )
    right = forms.CharField(
        label="Column of the right wheel path", required=False, max_length=80
    )
    resample_mm = forms.FloatField(
        label="Resample to, mm",
        required=False,
        min_value=1,
        max_value=250,
        help_text="Only for an unevenly spaced profile, which is refused otherwise.",
    )
    as_measured = forms.BooleanField(
        label="Take the elevations as measured",
        required=False,
        help_text="Only after a refusal for a jump or for its unit, when you have "
        "looked and the road is so.",
    )

    @property
    def columns(self) -> ProfileColumns:
        """What was said of the columns."""
        said = self.cleaned_data
        return ProfileColumns(
            distance=said["distance"],
            left=said["left"],
            right=said["right"],
            distance_unit=DistanceUnit(said["distance_unit"])
            if said["distance_unit"]
            else None,
            elevation_unit=ElevationUnit(said["elevation_unit"])
            if said["elevation_unit"]
            else None,
        )


class TakeForm(forms.Form):
    """Where in a profile the array would lie, and why there."""

    exact_m = forms.FloatField(required=False, widget=forms.HiddenInput)
    at = forms.CharField()  # in the program's units, see below
    why = forms.CharField(
        label="Why there",
        required=False,
        max_length=150,
        help_text="Kept with the change.",
    )

    def __init__(self, *args: Any, system: UnitSystem | str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"] = MeasureField(
            kind=Kind.LENGTH,
            system=UnitSystem(system),
            label="Another place",
            required=False,
            help_text="Distance as the file counts it.",
        )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        is_said = found.get("exact_m") is not None or found.get("at")
        if not is_said and "at" not in self.errors:
            self.add_error("at", "Write the distance of the array’s place.")
        return found

    @property
    def at_m(self) -> float:
        """The place, as the file counts distance, m."""
        exact: float | None = self.cleaned_data["exact_m"]
        return self.cleaned_data["at"].value_si if exact is None else exact


class SiteFromSurveyForm(forms.Form):
    """What a candidate place lacks to become a planned site."""

    code = forms.CharField(
        max_length=20, help_text="The agency’s own short name, such as OV-014."
    )
    state_code = forms.CharField(
        label="State or province code",
        max_length=2,
        help_text="Two digits, as the record files carry it.",
    )
    station_id = forms.CharField(
        label="Station identifier",
        max_length=6,
        help_text="Six characters, as the record files carry it (000014).",
    )
    why = forms.CharField(label="Why this place", max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = Site.objects.order_by("pk").values_list("state_code", flat=True).first()
        if known:
            self.initial.setdefault("state_code", known)


class StudyForm(forms.Form):
    """For which type the candidates of a study are compared."""

    wanted = forms.ChoiceField(
        label="For", required=False, choices=[(name, name) for name in E1318_TYPES]
    )


def blank_survey(
    *, today: dt.date, by_name: str, wim_site: Site | None, study: str
) -> SiteSurvey:
    """A survey as its form opens."""
    return SiteSurvey(
        surveyed_on=today,
        surveyed_by=by_name,
        wim_site=wim_site,
        route=wim_site.route if wim_site else "",
        study=study,
    )
