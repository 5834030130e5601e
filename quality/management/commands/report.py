"""``manage.py report YEAR [--site CODE] --out DIR``."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from quality.report.making import FORMATS, report_file
from sites.models import Site
from sites.selectors import program_get
from wimprog.lib import clock
from wimprog.lib.commands import ProgramCommand


class Command(ProgramCommand):
    """Write the year's data-quality report as PDF and XLSX."""

    help = (
        "Write the year's data-quality report, for the program or one site, as PDF and "
        "XLSX. Exit status: 0 written, 2 the call or its input is wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("year", type=int, help="calendar year, such as 2030")
        parser.add_argument("--site", default="", help="code of one site")
        parser.add_argument(
            "--out", type=Path, required=True, help="folder to write into (made if new)"
        )
        parser.add_argument(
            "--json", action="store_true", help="print what was written as JSON"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        program = program_get()
        today = clock.today(program.time_zone)
        year = options["year"]
        if not 1980 <= year <= today.year:
            self.refuse(f"There is no report for {year}: give 1980 to {today.year}.")
        wim_site = None
        if options["site"]:
            wim_site = Site.objects.filter(code=options["site"]).first()
            if wim_site is None:
                known = ", ".join(Site.objects.values_list("code", flat=True)[:10])
                self.refuse(
                    f"There is no site {options['site']}. Known sites: "
                    f"{known or 'none yet'}."
                )
        folder: Path = options["out"]
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            self.refuse(f"{folder} cannot be made: {error.strerror}.")
        written = []
        for fmt in FORMATS:
            made = report_file(
                program=program, year=year, as_of=today, wim_site=wim_site, fmt=fmt
            )
            path = folder / made.name
            path.write_bytes(made.content)
            written.append({"path": str(path), "bytes": len(made.content)})
        if options["json"]:
            self.print_json({"year": year, "written": written})
            return
        for one in written:
            self.stdout.write(f"wrote {one['path']} ({one['bytes']:,} bytes)")
