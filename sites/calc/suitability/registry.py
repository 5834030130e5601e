"""The site standards: every module of this package that has a ``STANDARD`` is one."""

from __future__ import annotations

import importlib
import pkgutil

from sites.calc import suitability
from sites.calc.suitability.base import SiteStandard


def all_standards() -> dict[str, SiteStandard]:
    """Every site standard by its key, in order of key.

    Raises
    ------
    ValueError
        When two modules claim one key.
    """
    found: dict[str, SiteStandard] = {}
    for info in pkgutil.iter_modules(suitability.__path__):
        module = importlib.import_module(f"{suitability.__name__}.{info.name}")
        standard: SiteStandard | None = getattr(module, "STANDARD", None)
        if standard is None:
            continue
        if standard.key in found:
            raise ValueError(f"two site standards have the key “{standard.key}”")
        found[standard.key] = standard
    return dict(sorted(found.items()))
