"""``manage.py calibration_record``: a session's record or certificate as a PDF."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from sites.selectors import program_get
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand
from wimprog.lib.errors import DomainError


class Command(ProgramCommand):
    """The papers of one session, without a browser."""

    help = (
        "Write the record of a calibration session, or its certificate, as a PDF. "
        "Exit status: 0 written, 1 there is no certificate (the session is open or "
        "its runs give no verdict), 2 the call is wrong."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--session", required=True, type=int, metavar="NUMBER", help="its number"
        )
        parser.add_argument(
            "--out", required=True, type=Path, metavar="FILE.pdf", help="where to write"
        )
        parser.add_argument(
            "--certificate", action="store_true", help="the certificate, not the record"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        # scipy is slow to import; every other command would wait for it.
        from calibration.papers import certificate_pdf, session_record_pdf
        from calibration.selectors import session_get
        from calibration.selectors.record import session_record

        session = session_get(options["session"])
        if session is None:
            self.refuse(f"There is no session {options['session']}.")
        program = program_get()
        record = session_record(session, unit_system=program.unit_system)
        make = certificate_pdf if options["certificate"] else session_record_pdf
        try:
            content = make(record, program=program)
        except DomainError as error:
            self.stderr.write(error.message)
            sys.exit(EXIT_WANTING)
        out: Path = options["out"]
        try:
            out.write_bytes(content)
        except OSError as error:
            self.refuse(f"{out} cannot be written: {error.strerror}. Check the path.")
        self.stdout.write(f"{out}: {len(content)} bytes")
