"""Changes of makes and models and of what their readings are held to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from installs.models import ElectricalLimit, SensorModel
from wimprog.lib.models import save_with_reason


@transaction.atomic
def sensor_model_save(
    *,
    model: SensorModel,
    limits: Sequence[ElectricalLimit] = (),
    removed: Sequence[ElectricalLimit] = (),
    by: Any,
    why: str,
) -> SensorModel:
    """Keep a make and model with the limits that were changed, all or nothing.

    Parameters
    ----------
    model
        New or changed.
    limits
        Those of its limits that are new or changed.
    removed
        Those that no longer hold; their history stays.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the model or a limit breaks a rule of its own.
    """
    reason = why or "make, model and limits"
    save_with_reason(model, by=by, why=reason)
    for limit in removed:
        limit._history_user = by  # type: ignore[attr-defined]
        limit._change_reason = reason  # type: ignore[attr-defined]
        limit.delete()
    for limit in limits:
        limit.sensor_model = model
        save_with_reason(limit, by=by, why=reason)
    return model
