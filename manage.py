#!/usr/bin/env python
"""The one entrance: demo, import_records, judge_runs, forecast, report and the rest."""

import os
import sys


def main() -> None:
    """Run a management command."""
    if sys.argv[1:2] == ["demo"]:
        from wimprog.lib.demo_environment import prepare

        prepare(os.environ, sys.argv[2:])
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
