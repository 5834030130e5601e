"""``manage.py sweep_store``: hold the record store against its manifest."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings

from quality.models import RecordPart
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand


class Command(ProgramCommand):
    """Hold the record store against its manifest."""

    help = (
        "Remove files of the record store that no manifest row names (left by an "
        "interrupted import), and report rows whose file is gone. Exit status: 0 the "
        "store is whole, 1 a stored file is missing."
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
        if options["json"]:
            self.print_json({"removed": removed, "missing": missing})
        else:
            self.stdout.write(f"{len(removed)} stray files removed.")
            for path in missing:
                self.stdout.write(f"missing: {path}")
        if missing:
            sys.exit(EXIT_WANTING)
