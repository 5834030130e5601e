"""Judge calibration runs from two sheets, without a database."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from calibration.calc.types import EnvironmentPlan, TestPlan
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

NOT_MET = 1
BAD_INPUT = 2


class Command(BaseCommand):
    help = (
        "Judge truck runs against their static weighing. Reads a sheet of static "
        "weighings and a sheet of runs (headed CSV; each measured column names its "
        "unit, such as axle_1_lb), computes the errors and holds them against the "
        "tolerance standards. Needs no database. Without --class it reports the best "
        "class attained. Exit status: 0 the sheets were read and judged, and every "
        "class asked for is met; 1 a class asked for is missed or nothing can be said "
        "about it; 2 the input cannot be used."
    )
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--static", required=True, type=Path, help="sheet of static weighings"
        )
        parser.add_argument("--runs", required=True, type=Path, help="sheet of runs")
        parser.add_argument(
            "--standard",
            nargs="+",
            action="extend",
            default=[],
            metavar="NAME",
            help="standards to judge by, such as astm-e1318; all if left out",
        )
        parser.add_argument(
            "--class",
            dest="wanted_class",
            metavar="NAME",
            help="class to judge against, such as 'Type I', by the standards that "
            "have it",
        )
        parser.add_argument(
            "--plan",
            choices=[plan.value for plan in TestPlan],
            default=TestPlan.LIMITED_REPRODUCIBILITY.value,
            help="test plan of COST 323 (default R1)",
        )
        parser.add_argument(
            "--environment",
            choices=[plan.value for plan in EnvironmentPlan],
            default=EnvironmentPlan.REPEATABILITY.value,
            help="environmental plan of COST 323 (default I)",
        )
        parser.add_argument(
            "--initial",
            action="store_true",
            help="an initial verification by COST 323, not a check in service",
        )
        parser.add_argument(
            "--units",
            choices=[system.value for system in UnitSystem],
            default=UnitSystem.US.value,
            help="units shown, and limits of speed and spacing (default us)",
        )
        parser.add_argument(
            "--units-are-right",
            action="store_true",
            help="take weights that look like a slip between pounds and kilograms",
        )
        parser.add_argument(
            "--json", action="store_true", help="print JSON and nothing else"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        # scipy is slow to import; every other command would wait for it.
        from calibration.calc.judging import judge_runs
        from calibration.calc.judging_text import judged_text
        from calibration.calc.sheets import read_runs_sheet, read_static_sheet
        from calibration.calc.standards.base import Conditions

        system = UnitSystem(options["units"])
        try:
            vehicles = read_static_sheet(
                _content(options["static"]), name=options["static"].name
            )
            runs = read_runs_sheet(
                _content(options["runs"]),
                vehicles,
                name=options["runs"].name,
                units_are_right=options["units_are_right"],
            )
            judged = judge_runs(
                vehicles,
                runs,
                standards=options["standard"],
                wanted_class=options["wanted_class"],
                conditions=Conditions(
                    plan=TestPlan(options["plan"]),
                    environment=EnvironmentPlan(options["environment"]),
                    is_initial=options["initial"],
                    unit_system=system,
                ),
            )
        except DomainError as error:
            raise self._refusal(error, as_json=options["json"]) from None
        if options["json"]:
            answer = judged.as_dict() | {"is_wanted_met": judged.is_wanted_met}
            self.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False))
        else:
            self.stdout.write(judged_text(judged, system=system))
        if not judged.is_wanted_met:
            raise CommandError(
                f"{options['wanted_class']} is not shown to be met.",
                returncode=NOT_MET,
            )

    def _refusal(self, error: DomainError, *, as_json: bool) -> CommandError:
        if as_json:
            answer = {
                "error": error.message,
                "complaints": [one.as_dict() for one in error.complaints],
            }
            self.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False))
        lines = [error.message, *(f"  {one}" for one in error.complaints)]
        return CommandError("\n".join(lines), returncode=BAD_INPUT)


def _content(path: Path) -> bytes:
    """The file's bytes, or a refusal in plain words."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise DomainError(
            f"{path} cannot be opened: {error.strerror}. Check the path."
        ) from None
