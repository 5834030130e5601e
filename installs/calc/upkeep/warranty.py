"""Whether a failure lies inside a warranty, by how far, and what a claim needs.

What a purchase's own terms say comes first; this counts their months. Months are
calendar months: 24 months from 31 January end on the last day of that month.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from installs.calc.upkeep.types import WarrantyStart
from wimprog.lib.dates import add_months
from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number


class Cover(StrEnum):
    """Whether a failure is covered."""

    INSIDE = "inside warranty"
    PERHAPS = "perhaps inside warranty"
    OUTSIDE = "outside warranty"
    CANNOT_SAY = "cannot say"


class Evidence(StrEnum):
    """What a claim rests on (common practice, no source)."""

    PURCHASE = "purchase order or invoice with its date"
    SERIAL_NUMBER = "serial number, also in a photo"
    INSTALLATION_RECORD = "installation record, signed"
    TESTS_BEFORE = "electrical tests on the bench and after installation"
    LAST_GOOD_TEST = "last good electrical test"
    FAILED_TEST = "electrical test that shows the failure"
    PHOTOS = "photos of the sensor, the slot and the surface as found"
    LEAD_CHECKED = "lead and splice ruled out, by a test of the lead alone"
    PAVEMENT_STATE = "state of the pavement around it"


@dataclass(frozen=True)
class WarrantyTerms:
    """Terms of a purchase.

    Attributes
    ----------
    months
        Whole length.
    start
        Counted from the day of purchase or of installation.
    full_months
        Months of full cover; after them the cover falls evenly to nothing at the end
        (pro rata). None: full cover to the end.
    latest_months_from_purchase
        However late it is installed, cover ends so many months after purchase.
    needs
        Evidence that these terms ask for.
    """

    months: int
    start: WarrantyStart
    full_months: int | None = None
    latest_months_from_purchase: int | None = None
    needs: tuple[Evidence, ...] = tuple(Evidence)

    def __post_init__(self) -> None:
        """Refuse terms that cannot be."""
        if self.months <= 0:
            raise DomainError(
                f"A warranty of {self.months} months covers nothing; give its months, "
                "or no terms."
            )
        if self.full_months is not None and not 0 <= self.full_months <= self.months:
            raise DomainError(
                f"Full cover of {self.full_months} months does not fit into "
                f"{self.months} months."
            )
        latest = self.latest_months_from_purchase
        if latest is not None and latest <= 0:
            raise DomainError("The latest end must lie after the purchase.")


@dataclass(frozen=True)
class WarrantyFinding:
    """A failure held against the terms.

    Attributes
    ----------
    cover
        Inside, perhaps, outside, or cannot say.
    first_day, last_day
        Of cover; None when the day it is counted from is not known.
    days_left
        Days from the failure (the day it was found) to the last day; negative when
        over.
    share
        Share of the price covered on the day of the failure; 0 outside.
    missing
        Evidence that the terms ask for and that is not there yet.
    sentence
        For people.
    """

    cover: Cover
    first_day: dt.date | None
    last_day: dt.date | None
    days_left: int | None
    share: float | None
    missing: tuple[Evidence, ...]
    sentence: str


def warranty_last_day(
    terms: WarrantyTerms, *, purchased: dt.date | None, installed: dt.date | None
) -> tuple[dt.date, dt.date] | None:
    """First and last day of cover; None when the day it starts is not known.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When it was installed before it was bought.
    """
    if purchased and installed and installed < purchased:
        raise DomainError(
            f"It was installed on {installed:%Y-%m-%d}, before it was bought on "
            f"{purchased:%Y-%m-%d}; correct one of the days."
        )
    first = purchased if terms.start is WarrantyStart.PURCHASE else installed
    if first is None:
        return None
    ends = [add_months(first, terms.months)]
    if terms.latest_months_from_purchase is not None:
        if purchased is None:
            return None
        ends.append(add_months(purchased, terms.latest_months_from_purchase))
    return first, min(ends) - dt.timedelta(days=1)


def judge_warranty(
    terms: WarrantyTerms,
    *,
    found_bad: dt.date,
    last_good: dt.date | None = None,
    purchased: dt.date | None = None,
    installed: dt.date | None = None,
    evidence: Collection[Evidence] = (),
) -> WarrantyFinding:
    """Whether a failure is inside warranty.

    Parameters
    ----------
    terms
        Of the purchase.
    found_bad
        Day on which the failure was found.
    last_good
        Last day on which it is known to have worked. A failure found after the end that
        may have happened before it is "perhaps inside".
    purchased, installed
        Days, where known.
    evidence
        What is at hand.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the days are out of order.
    """
    if last_good and last_good > found_bad:
        raise DomainError(
            f"It was last good on {last_good:%Y-%m-%d}, after it was found bad on "
            f"{found_bad:%Y-%m-%d}; correct one of the days."
        )
    if installed and found_bad < installed:
        raise DomainError(
            f"It was found bad on {found_bad:%Y-%m-%d}, before it was installed on "
            f"{installed:%Y-%m-%d}; correct one of the days."
        )
    missing = tuple(one for one in terms.needs if one not in evidence)
    span = warranty_last_day(terms, purchased=purchased, installed=installed)
    if span is None:
        day = (
            "installation"
            if terms.start is WarrantyStart.INSTALLATION and installed is None
            else "purchase"
        )
        return WarrantyFinding(
            Cover.CANNOT_SAY,
            None,
            None,
            None,
            None,
            missing,
            f"Cannot say whether it is inside warranty: the day of {day} is not known.",
        )
    first, last = span
    days_left = (last - found_bad).days
    if days_left >= 0:
        cover = Cover.INSIDE
    elif last_good is not None and last_good < last:
        cover = Cover.PERHAPS
    else:
        cover = Cover.OUTSIDE
    share = 0.0
    if cover is not Cover.OUTSIDE:
        share = _share(terms, first, last, min(found_bad, last))
    return WarrantyFinding(
        cover,
        first,
        last,
        days_left,
        share,
        missing,
        _sentence(terms, cover, last, days_left, last_good, share, missing),
    )


def _share(
    terms: WarrantyTerms, first: dt.date, last: dt.date, failed: dt.date
) -> float:
    if terms.full_months is None:
        return 1.0
    falls_from = add_months(first, terms.full_months)
    after = last + dt.timedelta(days=1)
    if failed < falls_from or after <= falls_from:
        return 1.0
    return (after - failed).days / (after - falls_from).days


def _sentence(
    terms: WarrantyTerms,
    cover: Cover,
    last: dt.date,
    days_left: int,
    last_good: dt.date | None,
    share: float,
    missing: tuple[Evidence, ...],
) -> str:
    when = f"{terms.months} months from {terms.start}, to {last:%Y-%m-%d}"
    days = f"{abs(days_left)} day{'' if abs(days_left) == 1 else 's'}"
    if cover is Cover.OUTSIDE:
        return f"Outside warranty by {days} ({when})."
    if cover is Cover.INSIDE:
        text = f"Inside warranty with {days} to spare ({when})."
    else:
        text = (
            f"Perhaps inside warranty ({when}): found {days} after its end, but last "
            f"known good on {last_good:%Y-%m-%d}, before it."
        )
    if share < 1.0:
        text += f" Covers {format_number(100 * share, 0)} % of the price (pro rata)."
    if missing:
        text += f" A claim still needs: {'; '.join(missing)}."
    return text
