#!/usr/bin/env python
"""The one entrance: demo, import_records, judge_runs, forecast, report and the rest."""

import os
import secrets
import sys

# Commands that serve nobody and so sign nothing: they may run without a secret key.
# Whatever answers requests still refuses to start without one.
SIGNS_NOTHING = {
    "judge_runs",
    "import_records",
    "forecast",
    "report",
    "sweep_store",
    "check_store",
    "migrate",
    "makemigrations",
    "showmigrations",
    "createsuperuser",
    "collectstatic",
    "help",
}


def main() -> None:
    """Run a management command."""
    command = sys.argv[1] if len(sys.argv) > 1 else "help"
    if command == "demo":
        from wimprog.lib.demo_environment import prepare

        prepare(os.environ, sys.argv[2:])
    elif command in SIGNS_NOTHING:
        os.environ.setdefault("WIMPROG_SECRET_KEY", secrets.token_urlsafe(50))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wimprog.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed in this Python. Make the virtual environment and "
            "install requirements.txt first; README.md has the line to copy."
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
