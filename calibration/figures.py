"""What the charts of a session draw beside the errors."""

from __future__ import annotations

from calibration.calc.standards.base import StandardVerdict
from calibration.calc.types import Quantity


def tolerance_of(verdict: StandardVerdict, quantity: Quantity) -> float | None:
    """The tolerance that a verdict held one quantity to, in the errors' unit."""
    for one in verdict.judgements:
        if str(one.quantity) == quantity.value:
            details = dict(one.details)
            found = details.get("tolerance", details.get("delta"))
            return float(found) if found is not None else None
    return None
