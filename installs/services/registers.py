"""Changes of the instruments and product batches that records name."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from installs.models import Instrument, ProductBatch
from wimprog.lib.models import save_with_reason


@transaction.atomic
def instrument_save(*, instrument: Instrument, by: Any, why: str) -> Instrument:
    """Add an instrument or keep what was changed in one, such as its calibration.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the kind and serial are kept already, or its dates are crossed.
    """
    instrument.kind = " ".join(instrument.kind.split())
    instrument.serial = instrument.serial.strip()
    save_with_reason(instrument, by=by, why=why or "instrument saved")
    return instrument


@transaction.atomic
def batch_save(*, batch: ProductBatch, by: Any, why: str) -> ProductBatch:
    """Add a batch of a product or keep what was changed in one.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the lot of that product is kept already.
    """
    batch.product = " ".join(batch.product.split())
    batch.lot = batch.lot.strip()
    save_with_reason(batch, by=by, why=why or "batch saved")
    return batch
