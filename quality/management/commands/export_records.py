"""``manage.py export_records``: accepted vehicle records out, into a file."""

from __future__ import annotations

import datetime as dt
import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from quality.selectors.corrections import corrections_used
from quality.selectors.using import Asked
from quality.services.exporting import RecordForm, records_out
from sites.models import Lane
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand
from wimprog.lib.errors import DomainError


class Command(ProgramCommand):
    """Records of lanes and days into one file, which appears whole or not at all."""

    help = (
        "Write the vehicle records of accepted days into a file: CSV, Parquet, or "
        "truck weight records of the Traffic Monitoring Guide (2016), fixed width or "
        "pipe-delimited. Days set aside are never written. The same records and "
        "decisions give the same bytes. Exit status: 0 written, 1 nothing to write or "
        "a stored part could not be read, 2 the call was wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("out", type=Path, help="the file to write")
        which = parser.add_mutually_exclusive_group(required=True)
        which.add_argument("--lane", help="site and lane, such as OV-001/E1")
        which.add_argument("--site", help="all lanes of this site")
        parser.add_argument("--from", dest="first", required=True, help="YYYY-MM-DD")
        parser.add_argument("--to", dest="last", required=True, help="YYYY-MM-DD")
        parser.add_argument(
            "--as",
            dest="form",
            choices=[form.value for form in RecordForm],
            default=RecordForm.PARQUET.value,
        )
        parser.add_argument(
            "--undecided",
            action="store_true",
            help="also days that nobody has judged",
        )
        parser.add_argument(
            "--corrected",
            action="store_true",
            help="back-corrected weights where the agency allows them, marked as such",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        out: Path = options["out"]
        if not out.parent.is_dir():
            self.refuse(f"There is no folder {out.parent} to write into.")
        if options["corrected"] and not corrections_used():
            self.refuse(
                "The record settings do not allow back-corrected weights to be used; "
                "leave --corrected out."
            )
        lanes = self._lanes(options)
        first, last = self._day(options["first"]), self._day(options["last"])
        aside = out.with_name(f".{out.name}.{os.getpid()}.tmp")
        try:
            asked = Asked(
                lanes, first, last, options["undecided"], options["corrected"]
            )
            with aside.open("wb") as file:
                for chunk in records_out(asked, RecordForm(options["form"])):
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            aside.replace(out)
        except DomainError as error:
            self.stderr.write(error.message)
            raise SystemExit(EXIT_WANTING) from None
        finally:
            aside.unlink(missing_ok=True)
        self.stdout.write(f"{out}: {out.stat().st_size:,} bytes")

    def _lanes(self, options: dict[str, Any]) -> tuple[Lane, ...]:
        code, _, label = (options["lane"] or options["site"]).partition("/")
        if options["lane"] and not label:
            self.refuse(f"“{code}” names no lane; write site and lane, as OV-001/E1.")
        found = tuple(
            lane
            for lane in Lane.objects.select_related("wim_site")
            .filter(wim_site__code=code)
            .order_by("direction", "number")
            if label in ("", lane.label)
        )
        if not found:
            self.refuse(f"There is no lane {options['lane'] or options['site']}.")
        return found

    def _day(self, text: str) -> dt.date:
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            self.refuse(f"“{text}” is no day; write it as 2031-05-01.")
