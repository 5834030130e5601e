"""Whether a signature still agrees with what is kept."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from calibration.calc.sealing import differences, fingerprint, frozen
from calibration.calc.words import SessionRole
from calibration.models import SessionSignature
from calibration.selectors.record import SessionRecord
from calibration.selectors.record_facts import facts_now, utc

SHOWN_DIFFERENCES = 6


class Standing(StrEnum):
    """What a signature is worth today."""

    STANDS = "stands"
    RESULTS_DIFFER = "facts as signed, results computed otherwise"
    NO_LONGER_AGREES = "no longer agrees"
    TAMPERED = "altered"


@dataclass(frozen=True)
class SignatureView:
    """A signature and its standing.

    Attributes
    ----------
    standing
        What it is worth today.
    changed
        What differs from what was signed.
    sentence
        The standing for people.
    """

    signature: SessionSignature
    standing: Standing
    changed: tuple[str, ...]
    sentence: str

    @property
    def stands(self) -> bool:
        """Does it agree with everything that is kept?"""
        return self.standing is Standing.STANDS


def signature_is_intact(signature: SessionSignature) -> bool:
    """Whether nothing of the signature itself has been changed since.

    The fingerprint must fit what is kept with it, and that must name the signature's
    own session, role, name, account and time.
    """
    truth = signature.what_was_true
    if not isinstance(truth, dict):
        return False
    try:
        fits = fingerprint(truth) == signature.fingerprint
    except ValueError:
        return False
    return (
        fits
        and truth.get("session") == frozen(signature.session_id)
        and truth.get("role") == signature.role
        and truth.get("name_signed") == signature.name_signed
        and truth.get("account") == frozen(signature.signed_by_id)
        and truth.get("signed_at") == utc(signature.signed_at)
    )


def signature_views(record: SessionRecord) -> list[SignatureView]:
    """The session's signatures, each held against the record as it is now."""
    now = frozen(facts_now(record)) if record.signatures else {}
    return [_view(one, now) for one in record.signatures]


def _view(signature: SessionSignature, now: dict[str, Any]) -> SignatureView:
    if not signature_is_intact(signature):
        return SignatureView(
            signature,
            Standing.TAMPERED,
            (),
            "THE SIGNATURE ITSELF WAS ALTERED: its fingerprint does not fit what is "
            "kept with it. It proves nothing.",
        )
    then = signature.what_was_true
    facts = differences(then.get("facts"), now["facts"])
    if facts:
        return SignatureView(
            signature,
            Standing.NO_LONGER_AGREES,
            tuple(facts),
            "IT NO LONGER AGREES WITH WHAT IS KEPT. Changed since it was signed: "
            f"{_listed(facts)}.",
        )
    results = differences(then.get("results"), now["results"])
    if results:
        method = then.get("results", {}).get("method", "")
        return SignatureView(
            signature,
            Standing.RESULTS_DIFFER,
            tuple(results),
            "The facts are as signed, but the results come out otherwise now: by the "
            "agency’s values or the program’s method that have changed since (method "
            f"then “{method}”, now “{now['results']['method']}”): {_listed(results)}.",
        )
    return SignatureView(
        signature,
        Standing.STANDS,
        (),
        "It stands: everything is as it was when this was signed.",
    )


def _listed(changed: list[str]) -> str:
    rest = len(changed) - SHOWN_DIFFERENCES
    told = "; ".join(changed[:SHOWN_DIFFERENCES])
    return f"{told}; and {rest} more" if rest > 0 else told


def roles_wanting(views: list[SignatureView]) -> list[SessionRole]:
    """Roles in which nobody has signed the record as it is now."""
    signed = {one.signature.role for one in views if one.stands}
    return [role for role in SessionRole if role.value not in signed]
