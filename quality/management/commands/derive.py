"""``manage.py derive``: work out again what follows from the stored records."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.db.models import Max, Min

from quality.models import LaneDay
from quality.services.deriving import derived_refresh
from quality.services.drifting import drift_refresh
from quality.services.week_figuring import week_figures_refresh
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.commands import ProgramCommand
from wimprog.lib.errors import DomainError

WEEKS_A_LINE = 100


class Command(ProgramCommand):
    """Weeks, months, findings, figures and drift, lane by lane."""

    help = (
        "Work out again what follows from the stored records: weeks, months, findings "
        "by the limits now in force, figures of the weeks, and drift. Each lane is "
        "whole or as it was; figures that are up to date are let be, so after an "
        "interruption the same call goes on where it stopped. Exit status: 0 done, 2 "
        "a stored part could not be read or the call was wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--site", default="", help="only this site's lanes")
        parser.add_argument(
            "--figures-only",
            action="store_true",
            help="only the figures of the weeks and the drift, not the findings",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        lanes = Lane.objects.select_related("wim_site").order_by("wim_site", "number")
        if options["site"]:
            lanes = lanes.filter(wim_site__code=options["site"])
        if not lanes:
            self.refuse("There is no such lane.")
        for place, lane in enumerate(lanes, start=1):
            self._lane(lane, f"{place} of {len(lanes)}: {lane}", options)
        found = drift_refresh(
            lanes=list(lanes), today=clock.today(), progress=self._drift_progress
        )
        self.stdout.write(found.sentence)

    def _lane(self, lane: Lane, name: str, options: dict[str, Any]) -> None:
        days = LaneDay.objects.filter(lane=lane)
        span = days.aggregate(first=Min("date"), last=Max("date"))
        if span["first"] is None:
            self.stdout.write(f"{name}: no day recorded")
            return

        told = 0

        def progress(done: int, of: int) -> None:
            nonlocal told
            if done - told >= WEEKS_A_LINE:
                told = done
                self.stdout.write(f"{name}: {done} of {of} weeks")

        if not options["figures_only"]:
            derived_refresh(lane=lane, first_on=span["first"], last_on=span["last"])
        try:
            done = week_figures_refresh(lane=lane, progress=progress)
        except DomainError as error:
            self.refuse(f"{name}: {error.message}")
        self.stdout.write(
            f"{name}: {done.n_worked_out} weeks worked out, {done.n_let_be} up to date"
        )

    def _drift_progress(self, done: int, of: int) -> None:
        self.stdout.write(f"drift: {done} of {of} lanes")
