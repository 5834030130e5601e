"""Warranty: months, ends, pro rata, perhaps, and what a claim still needs."""

import datetime as dt

import pytest

from installs.calc.upkeep.types import WarrantyStart
from installs.calc.upkeep.warranty import (
    Cover,
    Evidence,
    WarrantyTerms,
    judge_warranty,
    warranty_last_day,
)
from wimprog.lib.errors import DomainError

FROM_PURCHASE = WarrantyTerms(24, WarrantyStart.PURCHASE)
FROM_WORK = WarrantyTerms(24, WarrantyStart.INSTALLATION, needs=(Evidence.PHOTOS,))


def day(text):
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("found", "cover", "left"),
    [
        ("2031-03-14", Cover.INSIDE, 0),
        ("2031-03-15", Cover.OUTSIDE, -1),
        ("2030-03-14", Cover.INSIDE, 365),
    ],
)
def test_the_last_day_counts(found, cover, left):
    finding = judge_warranty(
        FROM_PURCHASE, found_bad=day(found), purchased=day("2029-03-15")
    )
    assert (finding.cover, finding.days_left) == (cover, left)
    assert finding.last_day == day("2031-03-14")
    assert finding.share == (1.0 if cover is Cover.INSIDE else 0.0)


def test_months_end_with_the_month():
    assert warranty_last_day(
        WarrantyTerms(1, WarrantyStart.INSTALLATION),
        purchased=None,
        installed=day("2031-01-31"),
    ) == (day("2031-01-31"), day("2031-02-27"))


def test_late_installation_does_not_stretch_cover_beyond_its_latest_end():
    terms = WarrantyTerms(
        24, WarrantyStart.INSTALLATION, latest_months_from_purchase=30
    )
    assert warranty_last_day(
        terms, purchased=day("2029-01-01"), installed=day("2030-06-01")
    ) == (day("2030-06-01"), day("2031-06-30"))
    assert warranty_last_day(terms, purchased=None, installed=day("2030-06-01")) is None


def test_found_after_the_end_but_good_before_it_is_perhaps():
    finding = judge_warranty(
        FROM_PURCHASE,
        found_bad=day("2031-04-02"),
        last_good=day("2031-02-01"),
        purchased=day("2029-03-15"),
    )
    assert finding.cover is Cover.PERHAPS
    assert finding.days_left == -19
    assert "found 19 days after its end" in finding.sentence
    good_later = judge_warranty(
        FROM_PURCHASE,
        found_bad=day("2031-04-02"),
        last_good=day("2031-03-14"),
        purchased=day("2029-03-15"),
    )
    assert good_later.cover is Cover.OUTSIDE


def test_pro_rata_falls_evenly():
    terms = WarrantyTerms(24, WarrantyStart.PURCHASE, full_months=12)
    shares = [
        judge_warranty(terms, found_bad=day(found), purchased=day("2029-01-01")).share
        for found in ("2029-12-31", "2030-01-01", "2030-07-02", "2030-12-31")
    ]
    assert shares == pytest.approx([1.0, 1.0, 183 / 365, 1 / 365])


def test_a_claim_tells_what_it_still_needs():
    finding = judge_warranty(
        FROM_WORK, found_bad=day("2030-05-01"), installed=day("2030-01-01")
    )
    assert finding.missing == (Evidence.PHOTOS,)
    assert "still needs: photos" in finding.sentence
    complete = judge_warranty(
        FROM_WORK,
        found_bad=day("2030-05-01"),
        installed=day("2030-01-01"),
        evidence=[Evidence.PHOTOS],
    )
    assert "still needs" not in complete.sentence


@pytest.mark.parametrize(
    ("terms", "said"), [(FROM_PURCHASE, "purchase"), (FROM_WORK, "installation")]
)
def test_without_the_day_it_cannot_say(terms, said):
    finding = judge_warranty(terms, found_bad=day("2030-05-01"))
    assert finding.cover is Cover.CANNOT_SAY
    assert finding.last_day is finding.share is None
    assert f"the day of {said} is not known" in finding.sentence


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ({"found_bad": "2030-01-01", "last_good": "2030-01-02"}, "last good"),
        ({"found_bad": "2030-01-01", "installed": "2030-01-02"}, "before it was inst"),
        (
            {
                "found_bad": "2030-03-01",
                "installed": "2030-01-01",
                "purchased": "2030-02-01",
            },
            "bought",
        ),
    ],
)
def test_days_out_of_order_are_refused(days, said):
    with pytest.raises(DomainError, match=said):
        judge_warranty(FROM_WORK, **{name: day(text) for name, text in days.items()})


@pytest.mark.parametrize(
    ("months", "more", "said"),
    [
        (0, {}, "covers nothing"),
        (12, {"full_months": 13}, "does not fit"),
        (12, {"latest_months_from_purchase": 0}, "latest end"),
    ],
)
def test_terms_that_cannot_be_are_refused(months, more, said):
    with pytest.raises(DomainError, match=said):
        WarrantyTerms(months, WarrantyStart.PURCHASE, **more)
