"""What our management commands share: a base that says plainly what is not set up."""

from __future__ import annotations

import json
import sys
from typing import Any, NoReturn

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import DatabaseError, connection

EXIT_DONE = 0
EXIT_WANTING = 1
EXIT_WRONG_CALL = 2


class ProgramCommand(BaseCommand):
    """A command on the program's database, with exit statuses to rely on.

    0 done; 1 done and found wanting, or something was refused; 2 the call or its input
    is wrong.
    """

    def refuse(self, message: str) -> NoReturn:
        """Say what is wrong with the call and leave with status 2."""
        self.stderr.write(message)
        sys.exit(EXIT_WRONG_CALL)

    def need_database(self) -> None:
        """Leave with status 2 and the remedy where the database is not set up."""
        where = settings.DATABASES["default"]["NAME"]
        try:
            tables = connection.introspection.table_names()
        except DatabaseError as error:
            self.refuse(f"The database {where} cannot be reached: {error}")
        if "sites_program" not in tables:
            self.refuse(
                f"The database {where} is not set up yet. Run `manage.py migrate` "
                "first, or set DATABASE_URL to the database that is meant; "
                "`manage.py demo` makes one to look around in."
            )

    def print_json(self, data: Any) -> None:
        """One JSON document on standard output."""
        self.stdout.write(json.dumps(data, default=str, ensure_ascii=False))
