"""Forms that phones sent: each kept once, a clash kept until a person chose."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from installs.calc.upkeep.phone_clock import clock_skew_s
from installs.calc.upkeep.types import SendState
from installs.models import RoadsideSend
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


class AlreadySent(Exception):
    """Another sending with the same identifier was kept first."""


@dataclass(frozen=True)
class Sending:
    """One form as it arrived.

    ``sent_at`` and ``typed_at`` are by the phone's clock; None when it did not say.
    """

    client_id: uuid.UUID
    form: str
    payload: dict[str, Any] = field(default_factory=dict)
    seen_version: str = ""
    typed_at: dt.datetime | None = None
    sent_at: dt.datetime | None = None

    @property
    def clock_skew_s(self) -> float | None:
        """Phone's clock less the server's own (which is never held still) [s]."""
        if self.sent_at is None:
            return None
        return clock_skew_s(self.sent_at, timezone.now())


@transaction.atomic
def send_keep(
    *,
    sending: Sending,
    by: Any,
    state: SendState = SendState.KEPT,
    target: str = "",
    message: str = "",
) -> RoadsideSend:
    """Keep that a form arrived; call it before what the form makes, in one transaction.

    Raises
    ------
    AlreadySent
        When the same identifier arrived before, or at the same moment and was first.
    """
    send = RoadsideSend(
        client_id=sending.client_id,
        form=sending.form,
        payload=sending.payload,
        seen_version=sending.seen_version,
        typed_at=sending.typed_at or timezone.now(),
        clock_skew_s=sending.clock_skew_s,
        state=state.value,
        target=target,
        message=message,
        sent_by=by,
    )
    try:
        save_with_reason(send, by=by, why=f"{sending.form} sent from the roadside")
    except IntegrityError as error:
        raise AlreadySent from error
    except ValidationError as error:
        if "client_id" in error.message_dict:
            raise AlreadySent from error
        raise
    return send


def send_finish(
    *, send: RoadsideSend, target: str, message: str, by: Any
) -> RoadsideSend:
    """Write into the receipt what the form made, so that it can be told again."""
    send.target, send.message = target, message
    save_with_reason(send, by=by, why="kept")
    return send


@transaction.atomic
def send_settle(*, send: RoadsideSend, by: Any, chosen: str) -> RoadsideSend:
    """Close a clash: who chose, when and what; what the phone sent stays.

    Raises
    ------
    DomainError
        When somebody settled it meanwhile.
    """
    held = RoadsideSend.objects.select_for_update().get(pk=send.pk)
    if held.state != SendState.CLASH:
        raise DomainError(
            "Somebody settled this meanwhile; nothing was changed. Look at the visit "
            "as it stands now."
        )
    held.state = SendState.SETTLED.value
    held.settled_by, held.settled_at = by, timezone.now()
    held.message = chosen
    save_with_reason(held, by=by, why=chosen)
    return held
