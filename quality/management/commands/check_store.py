"""``manage.py check_store``: is every stored record still there, bit for bit?"""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from quality.services.store_keeping import StoreChecked, store_check
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand
from wimprog.lib.errors import DomainError


class Command(ProgramCommand):
    """Hold the record store against its manifest."""

    help = (
        "Hold the record store against its manifest; changes nothing. A row whose file "
        "is missing, unreadable or holds other bytes than were written is an alarm; a "
        "file that no row names is litter (sweep_store removes it). Exit status: 0 the "
        "store is whole, 1 there is an alarm, 2 the check could not be made."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--quick",
            action="store_true",
            help="look at sizes and record counts only, not at every byte",
        )
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        try:
            checked = store_check(checksums=not options["quick"])
        except DomainError as error:
            self.refuse(error.message)
        if options["json"]:
            self.print_json({"is_whole": checked.is_whole} | asdict(checked))
        else:
            self._print(checked)
        if not checked.is_whole:
            sys.exit(EXIT_WANTING)

    def _print(self, checked: StoreChecked) -> None:
        write = self.stdout.write
        how = "every byte read" if checked.checksums else "sizes and counts only"
        write(
            f"{checked.n_parts:,} parts, {checked.n_records:,} records, "
            f"{checked.n_bytes:,} bytes; {how}."
        )
        for found in checked.alarms:
            write(f"ALARM {found.state}: {found.path}: {found.sentence}")
        for found in checked.unsure:
            write(f"{found.state}: {found.path}: {found.sentence}")
        for litter in checked.litter:
            word = "may be at work" if litter.may_be_at_work else "litter"
            write(f"{word}: {litter.path} ({litter.n_bytes:,} bytes)")
        if checked.is_whole:
            write("The store is whole.")
        else:
            write(
                "Restore the files above from a backup; until then nothing can be "
                "computed anew from their records. Daily sums are not touched."
            )
