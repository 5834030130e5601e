"""The tolerance standards: every module here that has a ``STANDARD`` is one of them."""

from __future__ import annotations

import importlib
import pkgutil

from calibration.calc.standards.base import (
    Conditions,
    StandardVerdict,
    ToleranceStandard,
)
from wimprog.lib.errors import DomainError

__all__ = [
    "Conditions",
    "StandardVerdict",
    "ToleranceStandard",
    "all_standards",
    "find_standard",
]


def all_standards() -> dict[str, ToleranceStandard]:
    """Every standard by its key, in order of key.

    Raises
    ------
    ValueError
        When two modules claim one key.
    """
    found: dict[str, ToleranceStandard] = {}
    for info in pkgutil.iter_modules(__path__):
        module = importlib.import_module(f"{__name__}.{info.name}")
        standard: ToleranceStandard | None = getattr(module, "STANDARD", None)
        if standard is None:
            continue
        if standard.key in found:
            raise ValueError(f"two tolerance standards have the key “{standard.key}”")
        found[standard.key] = standard
    return dict(sorted(found.items()))


def find_standard(key: str) -> ToleranceStandard:
    """The standard of that key.

    Parameters
    ----------
    key
        For instance "astm-e1318".

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is none; the message lists those there are.
    """
    standards = all_standards()
    wanted = key.strip().casefold()
    if wanted not in standards:
        raise DomainError(
            f"There is no tolerance standard “{key}”. There are {', '.join(standards)}."
        )
    return standards[wanted]
