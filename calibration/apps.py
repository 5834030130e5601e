from __future__ import annotations

from collections.abc import Sequence

from django.apps import AppConfig

from wimprog.lib.offered import OfferedStandard, offer_standards


def _standards() -> Sequence[OfferedStandard]:
    # scipy is slow to import; a command that asks for no standard need not wait
    from calibration.calc.standards import all_standards

    return [
        OfferedStandard(one.key, f"{one.title} {one.edition}", one.classes)
        for one in all_standards().values()
    ]


class CalibrationConfig(AppConfig):
    """How true it weighs; offers its tolerance standards to the program's settings."""

    name = "calibration"
    verbose_name = "How true it weighs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        offer_standards(_standards)
