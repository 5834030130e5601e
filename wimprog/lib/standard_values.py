"""Values of a standard that an agency may set, and which of them is in use.

A value that was written down from memory is named here with its unit and where it is
said to stand, so that an agency with the document in hand can put its own in its place
and say where from. What a judgement rested on is told beside it: "confirmed", "from
memory: not checked against the document", or "agency's own".
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from wimprog.lib.errors import DomainError

CONFIRMED = "confirmed"
FROM_MEMORY = "from memory: not checked against the document"
AGENCYS_OWN = "agency's own"

AgencyValues = Mapping[str, Mapping[str, tuple[float, str]]]
"""An agency's own values: {key of standard: {key of value: (value, its source)}}."""


@dataclass(frozen=True)
class EditableValue:
    """One value that an agency may set.

    Attributes
    ----------
    key
        Short name for stored settings, of one standard ("gross_weight_iii").
    name
        What it is, for people.
    value
        The value as written down here, in ``unit``.
    unit
        The unit the document gives it in ("%", "lb", "mph"); empty for a count.
    source
        Where it is said to stand in the document.
    standing
        How sure that is.
    at_most
        The greatest value that makes sense; None for no bound. All are above zero.
    is_whole
        True for a count.
    """

    key: str
    name: str
    value: float
    unit: str
    source: str
    standing: str = FROM_MEMORY
    at_most: float | None = None
    is_whole: bool = False

    def shown(self, value: float) -> str:
        """A value of this kind with its unit."""
        return f"{value:g} {self.unit}".rstrip()

    def checked(self, value: float, source: str, show: Show | None = None) -> float:
        """An agency's own value, if it can be one.

        Parameters
        ----------
        value
            The value, in ``unit``.
        source
            Where it stands, or who decided it.
        show
            How values are shown in messages, where another unit than ``unit`` is
            asked; None for ``unit``.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When the value is not above zero, is too great, is no whole number where a
            count is wanted, or has no source.
        """
        shown = EditableValue.shown if show is None else show
        bound = ""
        if self.at_most is not None:
            bound = f" and at most {shown(self, self.at_most)}"
        number = "a whole number" if self.is_whole else "a number"
        is_inside = math.isfinite(value) and value > 0
        is_inside = is_inside and (self.at_most is None or value <= self.at_most)
        if not is_inside or (self.is_whole and value != int(value)):
            raise DomainError(
                f"{self.name}: {shown(self, value)} cannot be used. Expected "
                f"{number} above zero{bound}."
            )
        if not source.strip():
            raise DomainError(
                f"{self.name}: say where {shown(self, value)} comes from (document and "
                "clause, or the agency's decision)."
            )
        return float(value)


Show = Callable[[EditableValue, float], str]
"""How a value is shown with its unit: (which value, the number in its unit)."""


class ValuesInUse:
    """A standard's editable values with the agency's own in their places.

    Parameters
    ----------
    title
        The standard's title, for messages.
    values
        Its editable values.
    own
        The agency's own: {key: (value, source)}.
    show
        How values are shown with their units; None for the units of the document.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the agency sets a value that the standard does not have, or one that
        cannot be.
    """

    def __init__(
        self,
        title: str,
        values: Sequence[EditableValue],
        own: Mapping[str, tuple[float, str]],
        show: Show | None = None,
    ) -> None:
        self._show = EditableValue.shown if show is None else show
        self._known = {one.key: one for one in values}
        for key in own:
            if key not in self._known:
                raise DomainError(
                    f"{title} has no value “{key}” to set. It has "
                    f"{', '.join(self._known) or 'none'}."
                )
        self._own = {
            key: (self._known[key].checked(value, source, show), source.strip())
            for key, (value, source) in own.items()
        }

    def __getitem__(self, key: str) -> float:
        """The value in use, in its unit."""
        found = self._own.get(key)
        return self._known[key].value if found is None else found[0]

    def is_own(self, *keys: str) -> bool:
        """Is any of these the agency's own?"""
        return any(key in self._own for key in keys)

    def source(self, key: str) -> str:
        """Where the agency's own value comes from; empty where none is in use."""
        return self._own[key][1] if key in self._own else ""

    def shown(self, key: str) -> str:
        """The value in use with its unit, marked where it is the agency's own."""
        text = self._show(self._known[key], self[key])
        return f"{text} ({AGENCYS_OWN})" if key in self._own else text

    def standing(self, *keys: str, otherwise: str = CONFIRMED) -> str:
        """Standing of a judgement that rests on these values.

        Parameters
        ----------
        keys
            The values it rests on; those not editable may be left out.
        otherwise
            Standing of what it rests on besides, where no editable value says more.
        """
        told = [self._told(key) for key in keys if key in self._own]
        rest = [self._known[key].standing for key in keys if key not in self._own]
        worst = next((one for one in (*rest, otherwise) if one != CONFIRMED), CONFIRMED)
        if not told:
            return worst
        if worst != CONFIRMED:
            told.append(f"the rest {worst}")
        return f"{AGENCYS_OWN}: {'; '.join(told)}"

    def standing_with_own(self, standing: str) -> str:
        """A standard's own standing, and the agency's values where there are any."""
        return " ".join((standing, *self.notes()))

    def notes(self) -> tuple[str, ...]:
        """One remark that lists the agency's own values; none without any."""
        if not self._own:
            return ()
        listed = "; ".join(self._told(key) for key in self._own)
        return (f"{AGENCYS_OWN.capitalize()} values in use: {listed}.",)

    def _told(self, key: str) -> str:
        value, source = self._own[key]
        known = self._known[key]
        return f"{known.name} {self._show(known, value)} ({source})"
