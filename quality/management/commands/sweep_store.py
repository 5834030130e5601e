"""``manage.py sweep_store``: tidy up after interruptions. Run it daily."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from quality.services.store_keeping import Swept, store_sweep
from quality.tasks import send_import
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand


class Command(ProgramCommand):
    """Tidy the record store and the uploads."""

    help = (
        "Tidy up after interruptions; run it daily. Removes files of the record store "
        "that no manifest row names and uploads that no import speaks of (both after "
        "a day), sends interrupted imports to the workers again, and reports rows "
        "whose file is gone. To read every stored byte: check_store. Exit status: 0 "
        "the store is whole, 1 a stored file is missing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        swept = store_sweep(send=send_import)
        if options["json"]:
            self.print_json(asdict(swept))
        else:
            self._print(swept)
        if swept.missing:
            sys.exit(EXIT_WANTING)

    def _print(self, swept: Swept) -> None:
        write = self.stdout.write
        write(f"{swept.resumed_imports} interrupted imports sent to the workers.")
        write(f"{len(swept.removed)} stray files removed.")
        write(f"{len(swept.removed_uploads)} uploads left over removed.")
        for path in swept.missing:
            write(f"missing: {path}")
        for name in swept.lost_uploads:
            write(f"upload gone, hand the file in again: {name}")
        for name in swept.waiting:
            write(f"waiting long for somebody's word: {name}")
