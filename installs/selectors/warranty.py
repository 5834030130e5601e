"""Whether a sensor's failure lies inside the warranty it was bought with."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.types import TestStage
from installs.calc.upkeep.types import WarrantyStart
from installs.calc.upkeep.warranty import (
    Cover,
    Evidence,
    WarrantyFinding,
    WarrantyTerms,
    judge_warranty,
)
from installs.models import FailureReport, Installation, Photo, Purchase, VisitPhoto
from installs.selectors.failures import judged_tests
from wimprog.lib.errors import DomainError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from installs.selectors.failures import JudgedTest

BEFORE_SERVICE = (
    TestStage.BENCH.value,
    TestStage.AFTER_GROUT.value,
    TestStage.AFTER_LEAD_IN.value,
)


@dataclass(frozen=True)
class WarrantyOf:
    """A failure held against the terms its sensor was bought on.

    Attributes
    ----------
    purchase
        The order it came with; None when none is entered.
    finding
        None where there are no terms to hold it against; ``sentence`` then says what
        is missing.
    at_hand
        Evidence that the records hold.
    """

    purchase: Purchase | None
    finding: WarrantyFinding | None
    at_hand: tuple[Evidence, ...]
    sentence: str

    @property
    def missing(self) -> tuple[Evidence, ...]:
        """Evidence that a claim still needs."""
        return self.finding.missing if self.finding else ()

    @property
    def may_claim(self) -> bool:
        """Whether a claim is worth making: inside warranty, or perhaps inside."""
        return self.finding is not None and self.finding.cover in (
            Cover.INSIDE,
            Cover.PERHAPS,
        )


def terms_of(purchase: Purchase) -> WarrantyTerms | None:
    """A purchase's terms of warranty; None where it has none."""
    if not purchase.warranty_months:
        return None
    return WarrantyTerms(
        months=purchase.warranty_months,
        start=WarrantyStart(purchase.warranty_start),
        full_months=purchase.full_months,
        latest_months_from_purchase=purchase.latest_months_from_purchase,
    )


def warranty_of(installation: Installation, failed_on: dt.date) -> WarrantyOf:
    """Whether a failure known on ``failed_on`` is inside warranty, and by how far.

    A first bad day that was reported stands above a later ``failed_on``. The last good
    day is the report's, else that of its last good test. The terms count from the
    sensor's first installation: one put into the road a second time is not new.
    """
    purchase = installation.sensor.purchase
    if purchase is None:
        return WarrantyOf(
            None,
            None,
            (),
            "Cannot say whether it is inside warranty: no purchase is entered for "
            "this sensor.",
        )
    terms = terms_of(purchase)
    if terms is None:
        return WarrantyOf(
            purchase, None, (), f"No terms of warranty are entered for {purchase}."
        )
    report = FailureReport.objects.filter(installation=installation).first()
    if report is not None and report.first_bad_on is not None:
        failed_on = min(failed_on, report.first_bad_on)
    tests = judged_tests([installation.pk]).get(installation.pk, [])
    last_good = _last_good(installation, report, tests, failed_on)
    at_hand = evidence_of(installation, report, tests, failed_on)
    first = installation.sensor.installations.order_by("installed_on").first()
    try:
        finding = judge_warranty(
            terms,
            found_bad=failed_on,
            last_good=last_good,
            purchased=purchase.bought_on,
            installed=(first or installation).installed_on,
            evidence=at_hand,
        )
    except DomainError as error:
        said = f"Cannot say whether it is inside warranty. {error.message}"
        return WarrantyOf(purchase, None, at_hand, said)
    return WarrantyOf(purchase, finding, at_hand, finding.sentence)


def _last_good(
    installation: Installation,
    report: FailureReport | None,
    tests: Iterable[JudgedTest],
    failed_on: dt.date,
) -> dt.date | None:
    if report is not None:
        if report.day_is_known:
            return failed_on
        if report.last_good_on is not None:
            return min(report.last_good_on, failed_on)
    good = [on for on, is_good in tests if is_good and installation.installed_on <= on]
    return max((on for on in good if on <= failed_on), default=None)


def evidence_of(
    installation: Installation,
    report: FailureReport | None,
    tests: Iterable[JudgedTest],
    failed_on: dt.date,
) -> tuple[Evidence, ...]:
    """Evidence of a failure that the records hold.

    What a record cannot show (that a photo shows the very serial number, say) is for
    the person who makes the claim to check. The state of the pavement counts as known
    when the lane was surveyed in the year before the failure or since.
    """
    judged = list(tests)
    sensor = installation.sensor
    record = getattr(installation, "record", None)
    signed = record is not None and record.signoffs.exists()
    stages = set(installation.electrical_tests.values_list("stage", flat=True))
    pictures = VisitPhoto.objects.filter(installation=installation, struck_at=None)
    at_installation = (
        Photo.objects.filter(record=record, struck_at=None).exists()
        if record is not None
        else False
    )
    has_pictures = pictures.exists()
    year_before = failed_on - dt.timedelta(days=365)
    surveyed = installation.lane.surveys.filter(surveyed_on__gte=year_before).exists()
    begun = installation.installed_on
    good = [on for on, is_good in judged if is_good and begun <= on <= failed_on]
    bad = [
        on for on, is_good in judged if not is_good and on > max(good, default=begun)
    ]
    shown = {
        Evidence.PURCHASE: sensor.purchase_id is not None,
        Evidence.SERIAL_NUMBER: bool(sensor.serial)
        and (has_pictures or at_installation),
        Evidence.INSTALLATION_RECORD: signed,
        Evidence.TESTS_BEFORE: TestStage.BENCH.value in stages
        and bool(stages & set(BEFORE_SERVICE[1:])),
        Evidence.LAST_GOOD_TEST: bool(good),
        Evidence.FAILED_TEST: bool(bad),
        Evidence.PHOTOS: has_pictures,
        Evidence.LEAD_CHECKED: report is not None and report.lead_checked,
        Evidence.PAVEMENT_STATE: surveyed,
    }
    return tuple(one for one in Evidence if shown[one])
