"""``manage.py demo``: an invented agency, built and served."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command

from sites.models import Program
from wimprog.demo.loader import ACCOUNTS, PASSWORD, build
from wimprog.lib import clock
from wimprog.lib.commands import ProgramCommand
from wimprog.lib.demo_environment import demo_dir


class Command(ProgramCommand):
    """Build the demo if it is not there yet, then serve it."""

    help = (
        "Build an invented agency's program in a database of its own, compute it and "
        "serve it. Safe to repeat. Exit status: 0 done, 2 the call is wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--small", action="store_true", help="three sites only")
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument("--json", action="store_true", help="print a summary")
        parser.add_argument(
            "--as-of",
            type=dt.date.fromisoformat,
            metavar="DAY",
            help="last day of the demo's history (today)",
        )
        parser.add_argument("--port", type=int, default=8000)  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        folder = demo_dir(sys.argv[2:])
        folder = folder.parent / ("small" if options["small"] else "full")
        folder.mkdir(parents=True, exist_ok=True)
        facts_path = folder / "demo.json"
        call_command("migrate", verbosity=0)
        if facts_path.exists() and Program.objects.exists():
            facts = json.loads(facts_path.read_text())
        elif Program.objects.exists():
            self.refuse(
                "This database holds a program that the demo did not finish or did not "
                f"make. Remove {folder} to build the demo anew, or unset DATABASE_URL."
            )
        else:
            facts = self._build(folder, options)
            facts_path.write_text(json.dumps(facts))
        settings.AS_OF = facts["as_of"]
        if options["json"]:
            self.print_json(facts)
        if not options["no_serve"]:
            self._serve(options["port"])

    def _build(self, folder: Path, options: dict[str, Any]) -> dict[str, Any]:
        started = time.monotonic()
        as_of = options["as_of"] or clock.today("America/Denver")
        settings.AS_OF = as_of.isoformat()

        def progress(text: str) -> None:
            self.stderr.write(f"{time.monotonic() - started:6.1f} s  {text}")

        counts = build(
            small=options["small"], as_of=as_of, folder=folder, progress=progress
        )
        seconds = round(time.monotonic() - started, 1)
        return {"as_of": as_of.isoformat(), "seconds": seconds, **counts}

    def _serve(self, port: int) -> None:
        self.stdout.write(f"\nServing http://127.0.0.1:{port}/ (Ctrl-C stops it)")
        names = ", ".join(f"{name} ({group})" for name, group in ACCOUNTS)
        self.stdout.write(f"Demo accounts: {names}; password {PASSWORD}\n")
        worker = subprocess.Popen([sys.executable, sys.argv[0], "db_worker"])  # noqa: S603
        try:
            call_command("runserver", f"127.0.0.1:{port}", "--noreload", "--nostatic")
        finally:
            worker.terminate()
