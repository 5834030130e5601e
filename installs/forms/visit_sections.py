"""The parts of the visit form: each adds its boxes, lays them out and reads them.

A visit is one plain form of one page, so that it can be sent without scripts and kept
by a phone without signal; a part is a group of its boxes. Rows have fixed numbers:
what does not fit is added by correcting the visit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.upkeep.types import DowntimeCause, WorkState
from installs.models import Installation, WorkItem
from installs.selectors.visits import (
    SiteWork,
    down_now,
    lanes_of_site,
    sensors_of_site,
    site_work,
    today_at,
)
from installs.services.visit_inputs import (
    CameBack,
    WentDown,
    WorkDone,
    WorkFound,
)
from sites.models import Lane
from wimprog.lib.forms import LocalTimeField

FOUND_ROWS, DOWN_ROWS = 3, 3
ELSEWHERE = (
    "“%(value)s” is not one of this site's; it may belong to another site, or have "
    "changed meanwhile. Reload the page and choose from its list."
)
FLAGS = (
    ("hazard", "it can hurt somebody"),
    ("down", "the lane gives no usable data"),
    ("doubt", "the lane's data is in doubt"),
)


class Section:
    """A group of boxes of the visit form."""

    name: ClassVar[str]

    def __init__(self, form: Any) -> None:
        self.form = form
        self.visit = form.instance
        self.wim_site = form.instance.wim_site
        self.start: dict[str, Any] = {}
        self.boxes = self.make()
        form.fields.update(self.boxes)
        for name, value in self.start.items():
            form.initial.setdefault(name, value)

    def make(self) -> dict[str, forms.Field]:
        """The boxes by name; what they begin with goes into ``start``."""
        raise NotImplementedError

    @property
    def is_open(self) -> bool:
        """Whether its fold stands open: something is kept, typed or wrong in it."""
        if not self.form.is_bound:
            return any(value not in (None, "", []) for value in self.start.values())
        return any(
            name in self.form.errors or self.form[name].data not in (None, "", [])
            for name in self.boxes
        )

    def _wrong(self, name: str, message: str) -> None:
        self.form.add_error(name, ValidationError(message))


@dataclass(frozen=True)
class Row:
    """One row of boxes, with the thing that it is about."""

    about: Any
    boxes: dict[str, Any]


class Places:
    """The lanes and sensors of a site as choices, read once for all sections."""

    def __init__(self, wim_site: Any) -> None:
        self.lanes: dict[str, Lane] = {
            f"lane:{one.pk}": one for one in lanes_of_site(wim_site)
        }
        self.sensors: dict[str, Installation] = {
            f"sensor:{one.pk}": one for one in sensors_of_site(wim_site)
        }

    def choices(self) -> list[tuple[str, Any]]:
        """Grouped: lanes, then sensors by lane and position."""
        return [
            ("Lanes", [(k, f"lane {one.label}") for k, one in self.lanes.items()]),
            (
                "Sensors",
                [
                    (k, f"{one.lane.label} {one.position}")
                    for k, one in self.sensors.items()
                ],
            ),
        ]

    def lane_and_sensor(self, key: str) -> tuple[Lane | None, Installation | None]:
        """What a choice stands for; neither for the whole site."""
        sensor = self.sensors.get(key)
        if sensor is not None:
            return sensor.lane, sensor
        return self.lanes.get(key), None


# --- work ----------------------------------------------------------------------------


class WorkSection(Section):
    """Open work of the site: ticked is done now, the rest stays open."""

    name = "work"

    def make(self) -> dict[str, forms.Field]:
        self.open = site_work(self.wim_site, today_at(self.wim_site))
        self.done_here = self._done_here()
        self.start["work_done"] = [str(one.pk) for one in self.done_here]
        every = WorkItem.objects.filter(wim_site=self.wim_site)
        boxes: dict[str, forms.Field] = {
            "work_done": forms.ModelMultipleChoiceField(
                every,
                label="Work done now",
                required=False,
                error_messages={
                    "invalid_choice": ELSEWHERE,
                    "invalid_pk_value": ELSEWHERE,
                },
            )
        }
        for one in self.open:
            boxes[f"work_note_{one.item.pk}"] = forms.CharField(
                label=f"What was done about “{one.item.reason}”",
                required=False,
                max_length=300,
            )
        return boxes

    def _done_here(self) -> list[WorkItem]:
        """Work said to be done at this visit that nobody has verified yet."""
        if self.visit.pk is None:
            return []
        return list(
            self.visit.closed_work.filter(state=WorkState.DONE.value).select_related(
                "lane__wim_site"
            )
        )

    def rows(self) -> Iterator[dict[str, Any]]:
        """Each item with its tick and its note."""
        ticked = {str(one) for one in self.form["work_done"].value() or []}
        for item in self.done_here:
            yield {"item": item, "ticked": str(item.pk) in ticked, "note": None}
        for one in self.open:
            yield self._row(one, ticked)

    def _row(self, one: SiteWork, ticked: set[str]) -> dict[str, Any]:
        return {
            "item": one.item,
            "urgency": one.urgency,
            "why": one.why,
            "ticked": str(one.item.pk) in ticked,
            "note": self.form[f"work_note_{one.item.pk}"],
        }

    @property
    def has_notes(self) -> bool:
        """Whether something is written, or wrong, in a note."""
        names = [f"work_note_{one.item.pk}" for one in self.open]
        return any(n in self.form.errors or self.form[n].value() for n in names)

    def done(self, found: dict[str, Any]) -> list[WorkDone]:
        """What was ticked."""
        return [
            WorkDone(item, found.get(f"work_note_{item.pk}") or "")
            for item in found.get("work_done") or ()
        ]

    def undone(self, found: dict[str, Any]) -> list[WorkItem]:
        """What was said to be done at this visit and is no longer ticked."""
        ticked = {item.pk for item in found.get("work_done") or ()}
        return [item for item in self.done_here if item.pk not in ticked]


class FoundSection(Section):
    """New work that the visit found."""

    name = "found"

    def make(self) -> dict[str, forms.Field]:
        places = self.form.places.choices()
        boxes: dict[str, forms.Field] = {}
        for n in range(FOUND_ROWS):
            boxes[f"found_{n}"] = forms.CharField(
                label="What is to be done, and why",
                required=False,
                max_length=400,
            )
            boxes[f"found_{n}_where"] = forms.ChoiceField(
                label="Where",
                required=False,
                choices=[("", "the site"), *places],
                error_messages={"invalid_choice": ELSEWHERE},
            )
            boxes[f"found_{n}_flags"] = forms.MultipleChoiceField(
                label="How urgent",
                required=False,
                choices=FLAGS,
                widget=forms.CheckboxSelectMultiple,
            )
        return boxes

    def rows(self) -> list[dict[str, Any]]:
        """The rows of boxes."""
        return [
            {
                "reason": self.form[f"found_{n}"],
                "where": self.form[f"found_{n}_where"],
                "flags": self.form[f"found_{n}_flags"],
            }
            for n in range(FOUND_ROWS)
        ]

    def check(self, found: dict[str, Any]) -> None:
        """A place or a flag needs its sentence."""
        for n in range(FOUND_ROWS):
            told = found.get(f"found_{n}_where") or found.get(f"found_{n}_flags")
            if told and not found.get(f"found_{n}") and f"found_{n}" in found:
                self._wrong(f"found_{n}", "Write in a sentence what is to be done.")

    def inputs(self, found: dict[str, Any]) -> list[WorkFound]:
        """One input a sentence."""
        made = []
        for n in range(FOUND_ROWS):
            if not found.get(f"found_{n}"):
                continue
            lane, sensor = self.form.places.lane_and_sensor(found[f"found_{n}_where"])
            flags = found[f"found_{n}_flags"]
            made.append(
                WorkFound(
                    reason=found[f"found_{n}"],
                    lane=lane,
                    installation=sensor,
                    is_hazard="hazard" in flags,
                    lane_is_down="down" in flags,
                    spoils_data="doubt" in flags,
                )
            )
        return made


# --- down and back -------------------------------------------------------------------


class DownSection(Section):
    """Lanes and sensors that went down, and those that work again."""

    name = "down"

    def make(self) -> dict[str, forms.Field]:
        self.open = list(down_now(self.wim_site))
        boxes: dict[str, forms.Field] = {
            "back": forms.ModelMultipleChoiceField(
                down_now(self.wim_site),
                label="Works again",
                required=False,
                error_messages={
                    "invalid_choice": ELSEWHERE,
                    "invalid_pk_value": ELSEWHERE,
                },
            )
        }
        for spell in self.open:
            boxes[f"back_{spell.pk}_at"] = self._time("Works again since")
        for n in range(DOWN_ROWS):
            boxes[f"down_{n}"] = forms.ChoiceField(
                label="What is down",
                required=False,
                choices=[("", "nothing"), *self.form.places.choices()],
                error_messages={"invalid_choice": ELSEWHERE},
            )
            boxes[f"down_{n}_cause"] = forms.ChoiceField(
                label="Why",
                required=False,
                choices=[("", "choose"), *[(c.value, c.value) for c in DowntimeCause]],
            )
            boxes[f"down_{n}_since"] = self._time("Since")
        return boxes

    def _time(self, label: str) -> LocalTimeField:
        return LocalTimeField(zone=self.wim_site.time_zone, label=label, required=False)

    def back_rows(self) -> list[dict[str, Any]]:
        """Each open time down with its tick and its time."""
        ticked = {str(one) for one in self.form["back"].value() or []}
        return [
            {
                "spell": spell,
                "ticked": str(spell.pk) in ticked,
                "at": self.form[f"back_{spell.pk}_at"],
            }
            for spell in self.open
        ]

    def down_rows(self) -> list[dict[str, Any]]:
        """The rows of boxes for what went down."""
        return [
            {
                "what": self.form[f"down_{n}"],
                "cause": self.form[f"down_{n}_cause"],
                "since": self.form[f"down_{n}_since"],
            }
            for n in range(DOWN_ROWS)
        ]

    def check(self, found: dict[str, Any]) -> None:
        """What is down needs its cause, and a cause needs what is down."""
        for n in range(DOWN_ROWS):
            what, cause = found.get(f"down_{n}"), found.get(f"down_{n}_cause")
            if what and not cause and f"down_{n}_cause" in found:
                self._wrong(f"down_{n}_cause", "Say why; “unknown” is an answer.")
            told = cause or found.get(f"down_{n}_since")
            if told and not what and f"down_{n}" in found:
                self._wrong(f"down_{n}", "Choose the lane or the sensor that is down.")
        ticked = {spell.pk for spell in found.get("back") or ()}
        for spell in self.open:
            name = f"back_{spell.pk}_at"
            if found.get(name) and spell.pk not in ticked and "back" in found:
                self._wrong(name, "Tick that it works again, or take the time away.")

    def down(self, found: dict[str, Any]) -> list[WentDown]:
        """What went down."""
        made = []
        for n in range(DOWN_ROWS):
            lane, sensor = self.form.places.lane_and_sensor(found.get(f"down_{n}", ""))
            if lane is None:
                continue
            cause = DowntimeCause(found[f"down_{n}_cause"])
            made.append(WentDown(lane, sensor, cause, found[f"down_{n}_since"]))
        return made

    def back(self, found: dict[str, Any]) -> list[CameBack]:
        """What works again."""
        return [
            CameBack(spell, found.get(f"back_{spell.pk}_at"))
            for spell in found.get("back") or ()
        ]
