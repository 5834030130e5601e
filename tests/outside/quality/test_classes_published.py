"""The 13 categories, as the published scheme names them by axles and units.

Source: FHWA-HRT-13-091, table 1 (classes 1 to 4 confirmed, the others from memory).
5: two-axle six-tyre single unit; 6: three-axle single unit; 7: single unit of four
axles or more; 8: single trailer of four axles or fewer; 9: of five; 10: of six or more;
11: multi-trailer of five axles or fewer; 12: of six; 13: of seven or more. Limits of
the 3-S2 and of class 5: table 2, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from quality.calc.classify import RULES, UNCLASSIFIED, classify
from wimprog.lib.units import KG_PER_LB, M_PER_FT

AXLES_OF_CLASS = {
    1: {2}, 2: {2, 3, 4}, 3: {2, 3, 4, 5}, 4: {2, 3}, 5: {2, 3, 4, 5}, 6: {3},
    7: {4, 5, 6, 7}, 8: {3, 4}, 9: {5}, 10: {6, 7, 8}, 11: {5}, 12: {6},
    13: {7, 8, 9, 10},
}  # fmt: skip
"""Axles that a class can have; the light trailers of 2, 3 and 5 add theirs."""


def class_of(weights_lb: list[float], spacings_ft: list[float]) -> int:
    gaps = np.full((1, 12), np.nan)
    gaps[0, : len(spacings_ft)] = np.array(spacings_ft) * M_PER_FT
    return int(
        classify(
            n_axles=np.array([len(weights_lb)]),
            spacings_m=gaps,
            gvw_kg=np.array([sum(weights_lb) * KG_PER_LB]),
            steering_kg=np.array([weights_lb[0] * KG_PER_LB]),
        )[0]
    )


@pytest.mark.parametrize(
    ("wanted", "weights_lb", "spacings_ft"),
    [
        (1, [300, 400], [4.8]),  # motorcycle
        (2, [2_000, 1_800], [9.0]),  # car
        (3, [2_800, 3_000], [12.0]),  # other two-axle four-tyre
        (4, [12_000, 20_000], [25.0]),  # bus
        (5, [6_000, 10_000], [15.0]),  # two-axle six-tyre
        (6, [14_000, 16_000, 16_000], [16.0, 4.4]),  # three-axle single unit
        (7, [16_000, 12_000, 17_000, 17_000], [12.0, 4.4, 4.4]),  # four-axle single
        (8, [9_000, 16_000, 14_000], [12.0, 28.0]),  # tractor, one-axle trailer
        (8, [10_000, 15_000, 12_000, 12_000], [12.0, 28.0, 4.1]),  # 2-S2
        (9, [12_000, 17_000, 17_000, 17_000, 17_000], [17.0, 4.4, 33.0, 4.1]),  # 3-S2
        (10, [12_000] + [14_000] * 5, [16.0, 4.4, 30.0, 4.1, 4.1]),  # 3-S3
        (11, [10_000, 16_000, 15_000, 13_000, 13_000], [12.0, 21.0, 9.0, 21.0]),
        (12, [11_000, 13_000, 13_000, 14_000, 12_000, 12_000],
         [14.0, 4.4, 20.0, 9.0, 21.0]),
        (13, [12_000] + [13_000] * 6, [14.0, 4.4, 20.0, 9.0, 14.0, 9.0]),
    ],
)  # fmt: skip
def test_a_vehicle_of_each_category(
    wanted: int, weights_lb: list[float], spacings_ft: list[float]
) -> None:
    assert class_of(weights_lb, spacings_ft) == wanted


def test_every_rule_has_axles_that_its_class_can_have() -> None:
    for rule in RULES:
        assert rule.n_axles in AXLES_OF_CLASS[rule.vehicle_class], rule
    assert {rule.vehicle_class for rule in RULES} == set(range(1, 14))


@pytest.mark.parametrize(
    ("spacings_ft", "gross_lb", "steering_lb", "wanted"),
    [
        # table 2, the 3-S2: 6–30, 2.5–6.29, 6.3–65, 2.5–11.99 ft; 20 kip; 5.0 kip
        ([6.0, 2.5, 6.3, 2.5], 20_000, 5_000, 9),
        ([30.0, 6.29, 65.0, 11.99], 80_000, 12_000, 9),
        ([30.2, 4.4, 33.0, 4.1], 80_000, 12_000, UNCLASSIFIED),
        ([17.0, 4.4, 33.0, 4.1], 19_900, 5_000, UNCLASSIFIED),
        ([17.0, 4.4, 33.0, 4.1], 20_000, 4_900, UNCLASSIFIED),
        # class 5: from 13.3 to 23.09 ft, 8 kip, 2.5 kip
        ([13.3], 8_000, 2_500, 5),
        ([23.09], 8_000, 2_500, 5),
        ([20.0], 8_000, 2_400, UNCLASSIFIED),
    ],
)
def test_the_edges_of_table_2(
    spacings_ft: list[float], gross_lb: float, steering_lb: float, wanted: int
) -> None:
    n_axles = len(spacings_ft) + 1
    rest = (gross_lb - steering_lb) / (n_axles - 1)
    assert class_of([steering_lb, *[rest] * (n_axles - 1)], spacings_ft) == wanted
