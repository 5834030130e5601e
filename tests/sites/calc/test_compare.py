"""Candidates in order of what fails first."""

import itertools
import json

import pytest

from sites.calc.suitability.assessing import assess
from sites.calc.suitability.comparing import RANKING_RULE, compare
from sites.calc.types import RankReason, SurveyFacts
from tests.sites.calc.build import SOUND, curve, survey
from wimprog.lib.errors import DomainError

FT = 0.3048

# Best first by the rule; each differs from the one before it in one step of it.
ORDERED = [
    ("Alder", survey(), RankReason.FIRST),
    ("Birch", survey(lane_width_m=3.7), RankReason.SMALLER_MARGIN),
    ("Cedar", survey(rutting_mm=None), RankReason.MORE_UNKNOWN),
    ("Dogwood", curve(5_580 * FT), RankReason.MORE_MISSES),
    ("Elm", curve(5_580 * FT, rutting_mm=None), RankReason.MORE_UNKNOWN),
    ("Fir", curve(5_000 * FT), RankReason.DEEPER_MISS),
    ("Gum", curve(5_600 * FT, grade_pct=2.1), RankReason.MORE_MISSES),
    ("Hazel", SurveyFacts(), RankReason.NOTHING_MEASURED),
]


def test_the_order_is_that_of_the_rule_whatever_order_they_come_in():
    candidates = [(name, assess(facts, wanted="Type I")) for name, facts, _ in ORDERED]
    for start in range(len(candidates)):
        turned = candidates[start:] + candidates[:start]
        ranked = compare(turned)
        assert [one.name for one in ranked] == [name for name, _, _ in ORDERED]
        assert [one.reason for one in ranked] == [reason for _, _, reason in ORDERED]
        assert [one.rank for one in ranked] == [1, 2, 3, 4, 5, 6, 7, None]


def test_each_says_what_fails_first_and_by_how_much():
    ranked = {
        one.name: one
        for one in compare(
            [(name, assess(facts, wanted="Type I")) for name, facts, _ in ORDERED]
        )
    }
    assert ranked["Dogwood"].sentence == (
        "4th: fails first on curve radius (ASTM E1318: 120 ft short). Behind Cedar: "
        "more conditions missed."
    )
    assert "1 condition not measured. Behind Dogwood" in ranked["Elm"].sentence
    assert "closest to failing is" in ranked["Alder"].sentence
    # 0.1 of 2 % is deeper than 100 of 5,700 ft
    assert "fails first on grade" in ranked["Gum"].sentence
    assert "then on curve radius" in ranked["Gum"].sentence
    assert (ranked["Gum"].n_misses, ranked["Cedar"].n_unknown) == (2, 1)


def test_equal_candidates_tie_and_say_so():
    facts = curve(5_580 * FT)
    ranked = compare(
        [
            ("Pine", assess(facts, wanted="Type I")),
            ("Oak", assess(facts, wanted="Type I")),
            ("Rowan", assess(curve(4_000 * FT), wanted="Type I")),
            ("Maple", assess(SOUND, wanted="Type I")),
        ]
    )
    assert [(one.name, one.rank) for one in ranked] == [
        ("Maple", 1),
        ("Oak", 2),
        ("Pine", 2),
        ("Rowan", 4),
    ]
    assert ranked[1].tied_with == ("Pine",)
    assert ranked[1].reason is ranked[2].reason is RankReason.TIED
    assert ranked[1].sentence.startswith("Tied 2nd with Pine: fails first on")
    assert ranked[3].sentence.endswith("Behind Pine: a deeper miss.")


def test_margins_equal_but_for_arithmetic_tie():
    a = assess(curve(5_580 * FT), wanted="Type I")
    b = assess(curve(5_580 * FT * (1 + 1e-13)), wanted="Type I")
    assert [one.rank for one in compare([("A", a), ("B", b)])] == [1, 1]


def test_measuring_less_never_puts_a_candidate_in_front():
    whole = assess(SOUND, wanted="Type I")
    part = assess(SurveyFacts(grade_pct=0.1), wanted="Type I")
    ranked = compare([("Part", part), ("Whole", whole)])
    assert [one.name for one in ranked] == ["Whole", "Part"]


def test_a_yes_or_no_miss_counts_by_number_only():
    plate = assess(survey(plate_passes=True), wanted="Type I")
    radius = assess(curve(5_580 * FT), wanted="Type I")
    ranked = compare([("Radius", radius), ("Plate", plate)])
    assert [one.name for one in ranked] == ["Plate", "Radius"]
    assert "smoothness under the straightedge (ASTM E1318)" in ranked[0].sentence


def test_the_order_does_not_contradict_itself():
    facts = [
        survey(grade_pct=g, rutting_mm=r, plate_passes=p, lri_m_per_km=i)
        for g, r, p, i in itertools.product(
            (0.5, 2.3), (2.0, None, 30.0), (True, False), (0.4, 1.0)
        )
    ]
    pairs = [(f"C{i:02}", assess(one, wanted="Type I")) for i, one in enumerate(facts)]
    place = {one.name: one.rank for one in compare(pairs)}
    for two in itertools.combinations(pairs, 2):
        first, second = compare(two)
        assert place[first.name] <= place[second.name]
        assert (first.rank == second.rank) is (place[first.name] == place[second.name])


def test_nothing_measured_is_not_ranked():
    (only,) = compare([("Hazel", assess(SurveyFacts(), wanted="Type I"))])
    assert only.rank is None
    assert only.sentence == "Not ranked: nothing that counts was measured here."


def test_a_straight_alone_has_nothing_close_to_failing():
    straight = assess(SurveyFacts(curve_is_straight=True), wanted="Type I")
    (only,) = compare([("Larch", straight)])
    assert only.fails_first is None
    assert only.sentence == "1st: nothing missed. 18 conditions not measured."


def test_none_to_compare_is_no_error():
    assert compare([]) == ()


def test_candidates_judged_for_different_types_are_refused():
    pairs = [("A", assess(SOUND, wanted=w)) for w in ("Type I",)]
    with pytest.raises(DomainError, match="Type I and Type II"):
        compare([*pairs, ("B", assess(SOUND, wanted="Type II"))])


def test_two_of_one_name_are_refused():
    one = assess(SOUND, wanted="Type I")
    with pytest.raises(DomainError, match="Two candidates are called “A”"):
        compare([("A", one), ("A", one)])


def test_the_rule_is_one_line_and_the_answer_is_json():
    assert "\n" not in RANKING_RULE
    ranked = compare([("A", assess(SOUND, wanted="Type I"))])
    assert json.loads(json.dumps(ranked[0].as_dict(), allow_nan=False))["rank"] == 1
