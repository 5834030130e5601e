"""Put the usual stages in use for every technology that has none."""

from __future__ import annotations

from typing import Any

from installs.services.templates import templates_seed
from wimprog.lib.commands import ProgramCommand


class Command(ProgramCommand):
    """Safe to repeat: a technology with any stage template is left alone."""

    help = "Put the usual stages in use for every technology that has no template yet."

    def handle(self, *args: Any, **options: Any) -> None:
        """Seed, and say what was made."""
        self.need_database()
        made = templates_seed(by=None)
        for template in made:
            self.stdout.write(f"{template}: in use")
        if not made:
            self.stdout.write("Every technology has its stages already; nothing to do.")
