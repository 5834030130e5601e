"""The parts of the visit form for what was used and what comes round by itself."""

from __future__ import annotations

from typing import Any

from django import forms

from installs.forms.visit_sections import ELSEWHERE, Section
from installs.models import PreventiveDone, SparePart
from installs.selectors.visits import rules_of_site, used_at_visit
from installs.services.visit_inputs import PartUsed, RuleDone

SPARE_ROWS = 3


class SpareSection(Section):
    """Parts used from the store: what the visit used in all."""

    name = "parts"

    def make(self) -> dict[str, forms.Field]:
        self.booked = used_at_visit(self.visit) if self.visit.pk else {}
        parts = SparePart.objects.order_by("name")
        boxes: dict[str, forms.Field] = {}
        self.n_rows = len(self.booked) + SPARE_ROWS
        for n in range(self.n_rows):
            boxes[f"part_{n}"] = forms.ModelChoiceField(
                parts, label="Part", required=False, empty_label="none"
            )
            boxes[f"part_{n}_n"] = forms.IntegerField(
                label="How many",
                required=False,
                min_value=0,
                max_value=1000,
                widget=forms.TextInput(
                    attrs={"inputmode": "numeric", "autocomplete": "off"}
                ),
            )
        for n, (pk, quantity) in enumerate(self.booked.items()):
            self.start[f"part_{n}"], self.start[f"part_{n}_n"] = pk, quantity
        return boxes

    def rows(self) -> list[dict[str, Any]]:
        """The rows of boxes."""
        return [
            {"part": self.form[f"part_{n}"], "n": self.form[f"part_{n}_n"]}
            for n in range(self.n_rows)
        ]

    def check(self, found: dict[str, Any]) -> None:
        """A part needs its number, and a number its part."""
        for n in range(self.n_rows):
            part, number = found.get(f"part_{n}"), found.get(f"part_{n}_n")
            if part and number is None and f"part_{n}_n" in found:
                self._wrong(f"part_{n}_n", "Write how many were used.")
            if number and not part and f"part_{n}" in found:
                self._wrong(f"part_{n}", "Choose the part that was used.")

    def inputs(self, found: dict[str, Any]) -> list[PartUsed]:
        """What was used in all; what was booked and is gone from the rows counts 0."""
        made = [
            PartUsed(found[f"part_{n}"], found[f"part_{n}_n"])
            for n in range(self.n_rows)
            if found.get(f"part_{n}")
        ]
        named = {one.spare_part.pk for one in made}
        gone = SparePart.objects.filter(pk__in=set(self.booked) - named)
        return made + [PartUsed(part, 0) for part in gone]


class PreventiveSection(Section):
    """Preventive work of the site, ticked when it was done."""

    name = "preventive"

    def make(self) -> dict[str, forms.Field]:
        self.offered = {
            f"{rule.pk}" + (f":{sensor.pk}" if sensor else ""): RuleDone(rule, sensor)
            for rule, sensor in rules_of_site(self.wim_site)
        }
        if self.visit.pk:
            kept = self.visit.preventive_done.select_related(
                "rule", "installation__lane"
            )
            for one in kept:
                key = f"{one.rule_id}"
                key += f":{one.installation_id}" if one.installation_id else ""
                self.offered.setdefault(key, RuleDone(one.rule, one.installation))
                self.start.setdefault("preventive_done", []).append(key)
        last = self._last_done()
        return {
            "preventive_done": forms.MultipleChoiceField(
                label="Preventive work done",
                required=False,
                choices=[(k, _told(one, last)) for k, one in self.offered.items()],
                widget=forms.CheckboxSelectMultiple,
                error_messages={"invalid_choice": ELSEWHERE},
            )
        }

    def _last_done(self) -> dict[tuple[int, int | None], Any]:
        rows = PreventiveDone.objects.filter(wim_site=self.wim_site).order_by("done_on")
        return {
            (rule, sensor): day
            for rule, sensor, day in rows.values_list(
                "rule_id", "installation_id", "done_on"
            )
        }

    def inputs(self, found: dict[str, Any]) -> list[RuleDone]:
        """What was ticked."""
        return [self.offered[key] for key in found.get("preventive_done") or ()]


def _told(one: RuleDone, last: dict[tuple[int, int | None], Any]) -> str:
    sensor = one.installation
    day = last.get((one.rule.pk, sensor.pk if sensor else None))
    where = f", {sensor.lane.label} {sensor.position}" if sensor else ""
    when = f"last {day.day} {day:%b %Y}" if day else "not done before"
    return f"{one.rule.name}{where} ({when})"
