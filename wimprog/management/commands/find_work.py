"""``manage.py find_work``: look everywhere for work and keep it on the list."""

from __future__ import annotations

import dataclasses
from argparse import ArgumentParser
from typing import Any

from quality.services.drifting import drift_refresh
from quality.services.reopening import questions_refresh
from sites.selectors import lanes_in_service, program_get
from wimprog.lib import clock
from wimprog.lib.commands import ProgramCommand
from wimprog.work import find_work


class Command(ProgramCommand):
    """Bring the work list up to date, for a daily timer."""

    help = (
        "Look for drift in the weeks of the lanes in service, and for decisions on "
        "days that later facts put in question; then look for work in records, "
        "calibrations, tests, visits and the preventive schedule, and keep it on the "
        "work list: each finding once, nothing closed. Safe to repeat; meant for a "
        "daily timer. Exit status: 0 done, 2 the database is not set up."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--json", action="store_true", help="print one JSON document"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        program = program_get()
        today = clock.today(program.time_zone)
        drift_refresh(lanes=list(lanes_in_service()), today=today)
        questions_refresh()
        found = find_work(program, today)
        if options["json"]:
            self.print_json(dataclasses.asdict(found))
        else:
            self.stdout.write(found.sentence)
