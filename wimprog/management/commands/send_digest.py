"""``manage.py send_digest``: mail what is new, due, overdue and down."""

from __future__ import annotations

from argparse import ArgumentParser
from smtplib import SMTPException
from typing import Any

from sites.selectors import program_get
from wimprog.digest import addresses_of, digest_of, digest_send
from wimprog.lib import clock
from wimprog.lib.commands import EXIT_WANTING, ProgramCommand
from wimprog.lib.errors import DomainError

DEFAULT_ROLE = "program manager"


class Command(ProgramCommand):
    """Send the digest, for a daily or weekly timer."""

    help = (
        "Mail the digest of what is new, due, overdue and down and of clashes that "
        "wait, as text and HTML. Where no mail server is set (WIMPROG_EMAIL_URL) it is "
        "printed. Nothing is sent when there is nothing to say. Exit status: 0 done, "
        "1 the mail server refused it, 2 the call is wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--to",
            action="append",
            metavar="ROLE|ADDRESS",
            help=f"role or mail address; may be repeated ({DEFAULT_ROLE} if left out)",
        )
        parser.add_argument(
            "--weekly", action="store_true", help="new means the last seven days"
        )
        parser.add_argument(
            "--always", action="store_true", help="send it with nothing to say as well"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        program = program_get()
        today = clock.today(program.time_zone)
        try:
            to = addresses_of(options["to"] or [DEFAULT_ROLE])
        except DomainError as error:
            self.refuse(error.message)
        digest = digest_of(program, today, weekly=options["weekly"])
        if not digest.parts and not options["always"]:
            self.stdout.write("Nothing to tell; nothing was sent.")
            return
        try:
            n = digest_send(digest, to)
        except (OSError, SMTPException) as error:
            self.stderr.write(f"The mail server did not take it: {error}")
            raise SystemExit(EXIT_WANTING) from None
        self.stdout.write(f"Sent to {n} address{'' if n == 1 else 'es'}.")
