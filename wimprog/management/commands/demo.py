"""``manage.py demo``: an invented agency, built and served."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.db import connection

from wimprog.demo.loader import ACCOUNTS, PASSWORD, ZONE, build
from wimprog.demo.scenario import SEED
from wimprog.demo.standing import (
    VERSION,
    Standing,
    facts_read,
    facts_write,
    standing,
)
from wimprog.lib import clock, demo_environment
from wimprog.lib.commands import ProgramCommand

HOST = "127.0.0.1"


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(
            f"“{text}” is not a day; write it as 2026-06-30"
        ) from None


class Command(ProgramCommand):
    """Build the demo if it is not there yet, then serve it."""

    help = (
        "Build an invented agency's program in a database of its own, compute it and "
        "serve it. Safe to repeat: a finished demo is served as it is, an unfinished "
        "one is built anew. Exit status: 0 done, 2 the call is wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--small", action="store_true", help="three sites only")
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument(
            "--json", action="store_true", help="print a summary as JSON"
        )
        parser.add_argument(
            "--fresh",
            action="store_true",
            help="throw the demo away, with all that was changed in it, and build anew",
        )
        parser.add_argument(
            "--as-of",
            type=_day,
            metavar="YYYY-MM-DD",
            help="last day of the demo's history (default: today)",
        )
        parser.add_argument(
            "--port", type=int, default=8000, help="port to serve on (default 8000)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        size = "small" if options["small"] else "full"
        folder = demo_environment.DEMO_DIR / size
        if not options["no_serve"]:
            self._need_port(options["port"])
        facts = self._made(folder, size, options)
        settings.AS_OF = facts["as_of"]
        if options["json"]:
            self.print_json(facts)
        if not options["no_serve"]:
            self._serve(options["port"])

    def _made(self, folder: Path, size: str, options: dict[str, Any]) -> dict[str, Any]:
        """The facts of the demo, built first where it is not there."""
        facts = facts_read(folder / "demo.json")
        found = standing(facts, size=size, seed=SEED)
        if found is Standing.FOREIGN:
            self.refuse(
                f"The database {settings.DATABASES['default']['NAME']} holds a program "
                "that the demo did not make, so nothing was written. Unset "
                "DATABASE_URL, and the demo uses a file of its own."
            )
        wanted = options["as_of"]
        if found is Standing.FINISHED and not options["fresh"]:
            if wanted and wanted.isoformat() != facts["as_of"]:
                self.refuse(
                    f"The demo that is there ends on {facts['as_of']}. Add --fresh to "
                    f"throw it away and build one that ends on {wanted}."
                )
            call_command("migrate", verbosity=0)
            return facts
        if facts.get("as_of") == settings.AS_OF:
            settings.AS_OF = ""  # the old demo's clock does not hold for a new one
        today = clock.today(ZONE)
        if wanted and wanted > today:
            self.refuse(f"--as-of {wanted} lies ahead of today, {today}.")
        if found is not Standing.EMPTY:
            self._throw_away(folder)
        return self._build(folder, size, wanted or today)

    def _throw_away(self, folder: Path) -> None:
        """Remove the demo's own files; nothing outside of its folder."""
        database = Path(settings.DATABASES["default"]["NAME"])
        folders = [Path(settings.RECORD_STORE), folder / "files"]
        is_own = all(
            folder.resolve() in path.resolve().parents for path in (database, *folders)
        )
        if connection.vendor != "sqlite" or not is_own:
            self.refuse(
                "The demo in this database is unfinished, of another version or to be "
                f"built anew, and not all of it lies in {folder}. Empty the database "
                "and the record store yourself, then run the demo again."
            )
        connection.close()
        (folder / "demo.json").unlink(missing_ok=True)
        for path in folders:
            shutil.rmtree(path, ignore_errors=True)
        for path in database.parent.glob(f"{database.name}*"):
            path.unlink()

    def _build(self, folder: Path, size: str, as_of: dt.date) -> dict[str, Any]:
        started = time.monotonic()
        settings.AS_OF = as_of.isoformat()
        folder.mkdir(parents=True, exist_ok=True)

        def progress(text: str) -> None:
            self.stderr.write(f"{time.monotonic() - started:6.1f} s  {text}")

        progress(f"building the {size} demo as of {as_of}")
        call_command("migrate", verbosity=0)
        counts = build(
            small=size == "small", as_of=as_of, folder=folder, progress=progress
        )
        facts = {
            "version": VERSION,
            "seed": SEED,
            "size": size,
            "as_of": as_of.isoformat(),
            "seconds": round(time.monotonic() - started, 1),
            **counts,
        }
        facts_write(folder / "demo.json", facts)
        return facts

    def _need_port(self, port: int) -> None:
        """Leave with status 2 before minutes of building for a port that is taken."""
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((HOST, port))
            except (OSError, OverflowError):
                self.refuse(
                    f"Port {port} cannot be used; another program may hold it. Choose "
                    "another one with --port, such as --port 8010."
                )

    def _serve(self, port: int) -> None:
        self.stdout.write(f"\nServing http://{HOST}:{port}/ (Ctrl-C stops it)")
        names = ", ".join(f"{name} ({group})" for name, group in ACCOUNTS)
        self.stdout.write(f"Demo accounts: {names}; password {PASSWORD}\n")
        self.stdout.flush()
        worker = subprocess.Popen(  # noqa: S603  (our own entrance)
            [sys.executable, str(settings.BASE_DIR / "manage.py"), "db_worker"],
            env={**os.environ, "WIMPROG_AS_OF": settings.AS_OF},
        )
        signal.signal(signal.SIGTERM, _leave)
        try:
            call_command("runserver", f"{HOST}:{port}", "--noreload", "--nostatic")
        finally:
            worker.terminate()
            try:
                worker.wait(timeout=10)
            except subprocess.TimeoutExpired:
                worker.kill()


def _leave(number: int, frame: FrameType | None) -> NoReturn:
    """Leave in order when asked to stop, so that the worker stops too."""
    sys.exit(0)
