"""``manage.py sweep_store``: tidy up after interruptions. Run it daily."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings

from quality.models import RecordPart
from quality.services import imports_reap
from quality.tasks import send_import
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand


class Command(ProgramCommand):
    """Hold the record store against its manifest."""

    help = (
        "Tidy up after interruptions; run it daily. Removes files of the record store "
        "that no manifest row names, sends interrupted imports to the workers again, "
        "and reports rows whose file is gone. Exit status: 0 the store is whole, 1 a "
        "stored file is missing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        from quality.records.store import sweep_orphans

        self.need_database()
        root = Path(settings.RECORD_STORE)
        paths = list(RecordPart.objects.values_list("path", flat=True))
        removed = sweep_orphans(root, paths) if root.is_dir() else []
        missing = [path for path in paths if not (root / path).is_file()]
        resumed = imports_reap(send_import)
        if options["json"]:
            self.print_json(
                {"removed": removed, "resumed_imports": resumed, "missing": missing}
            )
        else:
            self.stdout.write(f"{resumed} interrupted imports sent to the workers.")
            self.stdout.write(f"{len(removed)} stray files removed.")
            for path in missing:
                self.stdout.write(f"missing: {path}")
        if missing:
            sys.exit(EXIT_WANTING)
