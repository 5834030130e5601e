"""A lane of one published vehicle comes to what the tables say of it.

Sources: AASHTO Guide for Design of Pavement Structures, 1993, appendix D (load
equivalency factors; the vehicle's sums recomputed from its equations); 23 U.S.C. 127
and 23 CFR 658.17 (a combination of five axles with 51 ft between its first and last
axle may weigh 80,000 lb); FHWA-HRT-13-090, table 56 (bins of axle loads).
"""

from __future__ import annotations

import io

import numpy as np
import pytest

from quality.calc.carried import CarriedRule, part_sums
from quality.calc.esals import FlexiblePavement, RigidPavement
from quality.records.detect import open_records
from quality.records.schema import split_by_lane
from wimprog.lib.units import MM_PER_IN


def record(weights_lb, spacings_ft):
    """One class 9 W record, put together by the guide's columns."""
    axles = f"{weights_lb[0]:05d}"
    for gap, weight in zip(spacings_ft, weights_lb[1:], strict=True):
        axles += f"{round(gap * 10):04d}{weight:05d}"
    head = "W17018115312012110716" + "09   "
    return f"{head}{sum(weights_lb):06d}{len(weights_lb):02d}{axles}"


def carried_of(lines):
    table = open_records(io.BytesIO("\n".join(lines).encode() + b"\n")).read_all()
    ((_, rows),) = split_by_lane(table)
    rule = CarriedRule(
        np.array(["2012-11-07"], "datetime64[D]"),
        flexible=FlexiblePavement(5.0, 2.5),
        rigid=RigidPavement(9 * MM_PER_IN, 2.5),
    )
    return part_sums(rows, rule)


def test_semitrailers_at_12_34_34_kip():
    """2.379 and 4.016 ESAL a vehicle at SN 5, D 9 in, pt 2.5."""
    line = record([12_000, 17_000, 17_000, 17_000, 17_000], [15.0, 4.0, 28.0, 4.0])
    carried = carried_of([line] * 10)
    assert carried.n_vehicles == 10
    assert carried.flexible.total / 10 == pytest.approx(2.379, abs=0.002)
    assert carried.rigid.total / 10 == pytest.approx(4.016, abs=0.002)
    frame = carried.spectra.frame().set_index("axle_kind")
    assert (frame.loc["single", "from_lb"], frame.loc["single", "n"]) == (12_000, 10)
    assert (frame.loc["tandem", "from_lb"], frame.loc["tandem", "n"]) == (34_000, 20)


def test_80_000_lb_over_51_ft_is_within_every_limit_and_a_pound_more_is_not():
    at = [12_000, 17_000, 17_000, 17_000, 17_000]
    gaps = [15.0, 4.0, 28.0, 4.0]
    sound = carried_of([record(at, gaps)])
    assert sum(int(n.sum()) for n in sound.over.values()) == 0
    heavy = carried_of([record([12_001, *at[1:]], gaps)])
    assert heavy.over["gross"][9] == 1
    assert heavy.over["tandem"].sum() == heavy.over["single axle"].sum() == 0
