"""Reckoners: what they answer, how they refuse, and that an address carries them."""

from __future__ import annotations

import pytest
from django.urls import reverse

from installs.calc.types import Technology
from installs.models import CuringRow, CuringTable
from installs.services.plans import curing_table_save, plan_start
from wimprog.lib.units import M_PER_FT

pytestmark = pytest.mark.django_db

SQUARE = reverse("installs:tool-square")
SPACING = reverse("installs:tool-spacing")
WEATHER = reverse("installs:tool-weather")


def triangle(into, along, diagonal, i=1):
    return {f"into_{i}": into, f"along_{i}": along, f"diagonal_{i}": diagonal}


@pytest.fixture
def reader(client_for, guest, world):
    return client_for(guest)


@pytest.fixture
def plan(world):
    lane = world.lanes[0]
    return plan_start(lane=lane, technology=Technology.POLYMER_PIEZO, by=None, why="")


# --- reference line -----------------------------------------------------------------


def test_the_marks_of_a_12_ft_lane_are_3_4_5_and_its_multiples(reader, plan):
    """Legs 3, 6, 9 ft into the lane and 4, 8, 12 ft along give diagonals 5, 10, 15 ft.

    Common practice, no source (12 ft itself takes one more: 12, 16, 20).
    """
    answer = reader.get(SQUARE, {"plan": plan.pk})
    marks = [
        tuple(
            round(x / M_PER_FT, 6)
            for x in (m.leg_into_lane_m, m.leg_along_edge_m, m.diagonal_m)
        )
        for m in answer.context["marks"]
    ]
    assert marks == [(3, 4, 5), (6, 8, 10), (9, 12, 15), (12, 16, 20)]
    assert answer.context["answer"] is None
    assert answer.context["form"]["width"].value() == "12"


def test_a_true_triangle_is_square_and_its_time_shift_is_nothing(reader):
    """9, 12, 15 ft is a right triangle (9² + 12² = 15²)."""
    found = reader.get(SQUARE, {**triangle("9", "12", "15"), "tolerance": "0.5"})
    answer = found.context["answer"]
    assert answer.angle_deg == pytest.approx(90.0, abs=1e-9)
    assert answer.wheel_shift_ms == pytest.approx(0.0, abs=1e-9)
    assert answer.judgement.verdict == "meets"
    page = found.content.decode()
    assert "90.00°" in page
    assert "meets" in page


def test_a_skew_line_tells_offset_and_time_shift(reader):
    """A diagonal one part in 100 short: cos t = (9² + 12² − 14.85²) / (2·9·12).

    That is 0.020729, t = 88.8122°; over 12 ft the far edge is 12 ft·tan 1.1878° =
    75.8 mm off, and 1.9 m of track at 65 mph (29.058 m/s) gives 1.3557 ms.
    """
    found = reader.get(SQUARE, {**triangle("9", "12", "14.85"), "speed": "65"})
    answer = found.context["answer"]
    assert answer.angle_deg == pytest.approx(88.8122, abs=5e-5)
    assert answer.far_edge_mm == pytest.approx(75.83, abs=0.01)
    assert answer.wheel_shift_ms == pytest.approx(1.3557, abs=5e-4)
    assert answer.judgement.verdict == "misses"
    against = reader.get(
        SQUARE, {**triangle("9", "12", "14.85"), "speed": "65", "against": "on"}
    ).context["answer"]
    assert against.far_edge_mm == pytest.approx(-answer.far_edge_mm)


def test_several_triangles_are_combined_and_told_one_by_one(reader):
    found = reader.get(
        SQUARE, {**triangle("9", "12", "15"), **triangle("6", "8", "10", i=2)}
    )
    assert found.context["answer"].judgement.n == 2
    assert "triangle 2" in found.content.decode()


@pytest.mark.parametrize(
    ("sides", "told"),
    [
        (("9", "12", "22"), "cannot close"),
        (("9", "12", "2"), "cannot close"),
        (("9", "12", "21"), "flat on one line"),
        (("9", "12", "0"), "above zero"),
        (("9", "12", ""), "needs all three sides"),
        (("9", "12", "15 ft"), "is not a number"),
    ],
)
def test_an_impossible_triangle_says_why(reader, sides, told):
    answer = reader.get(SQUARE, triangle(*sides))
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert answer.context["answer"] is None


def test_a_side_in_another_unit_is_asked_about(reader):
    """457.2 cm is 15 ft; read as feet the triangle cannot close."""
    answer = reader.get(SQUARE, triangle("9", "3.6576", "15"))
    page = answer.content.decode()
    assert "another unit" in page
    assert "metres among feet" in page


def test_an_address_says_the_same_after_the_program_changed_its_units(reader, program):
    sent = {**triangle("9", "12", "15"), "width": "12", "units": "us"}
    before = reader.get(SQUARE, sent).context["answer"]
    program.unit_system = "si"
    program.save()
    after = reader.get(SQUARE, sent).context["answer"]
    assert after == before


@pytest.mark.parametrize("plan_pk", ["999999", "x", "-1", "9" * 30, "²"])
@pytest.mark.parametrize("address", [SQUARE, SPACING, WEATHER])
def test_an_unknown_plan_is_no_plan(reader, address, plan_pk):
    answer = reader.get(address, {"plan": plan_pk, "lane": plan_pk})
    assert answer.status_code == 200


# --- spacing ------------------------------------------------------------------------


def test_a_setting_a_hundredth_too_long_reads_a_hundredth_too_fast(reader):
    """12.12 ft set for 12 ft as built: bias +1 %, 0.65 mph at 65 mph (0.01 × 65)."""
    found = reader.get(
        SPACING, {"built_1": "12", "setting": "12.12", "speed": "65", "planned": "12"}
    )
    answer = found.context["answer"]
    assert answer.bias_pct == pytest.approx(1.0, abs=1e-9)
    assert answer.speed.value == pytest.approx(0.65, abs=1e-9)
    assert answer.new_setting_m == pytest.approx(12 * M_PER_FT)
    assert answer.against_plan.verdict == "meets"
    assert "+1.00 %" in found.content.decode()


def test_readings_are_averaged(reader):
    sent = {"setting": "12", "speed": "65"}
    built = {"built_1": "11.98", "built_2": "12.00", "built_3": "12.05"}
    answer = reader.get(SPACING, {**sent, **built}).context["answer"]
    assert answer.as_built_m == pytest.approx(12.01 * M_PER_FT)
    assert answer.speed.n == 3


def test_a_setting_in_metres_for_feet_is_questioned(reader):
    answer = reader.get(SPACING, {"built_1": "12", "setting": "3.6576"})
    assert answer.status_code == 422
    assert "two units of length" in answer.content.decode()


def test_the_plans_own_spacing_is_the_planned_one(reader, plan):
    form = reader.get(SPACING, {"plan": plan.pk}).context["form"]
    assert form["planned"].value() == "12"
    assert form["setting"].value() == ""


# --- weather and cure ---------------------------------------------------------------


@pytest.fixture
def table(db):
    """Invented rows at 10, 20 and 30 °C (50, 68 and 86 °F)."""
    rows = [(10.0, 90, 25, 90), (20.0, 60, 14, 45), (30.0, 40, 8, 20)]
    return curing_table_save(
        table=CuringTable(
            product="Invented resin", document="Sheet 4", hardener_unit="g a kit"
        ),
        rows=[
            CuringRow(temp_c=t, hardener_amount=a, pot_life_min=p, cure_min=c)
            for t, a, p, c in rows
        ],
        by=None,
        why="",
    )


def test_a_fair_day_is_judged_by_the_makers_row(reader, table):
    found = reader.get(WEATHER, {"air": "70", "pavement": "68", "resin": "70"})
    answer = found.context["answer"]
    assert [one.verdict for one in answer.windows] == ["meets"] * 3
    assert (answer.choice.amount, answer.choice.pot_life_min) == (60, 14)
    assert answer.cure.minutes == 45
    assert "60 g a kit" in found.content.decode()


def test_the_cure_is_taken_at_the_colder_of_pavement_and_air(reader, table):
    found = reader.get(WEATHER, {"air": "50", "pavement": "68", "resin": "70"})
    assert found.context["answer"].cure.minutes == 90


def test_the_cure_goes_on_to_the_plans_closure(reader, table, plan):
    sent = {"air": "68", "pavement": "68", "resin": "70", "plan": plan.pk}
    page = reader.get(WEATHER, sent).content.decode()
    address = reverse("installs:plan-quantities", args=[plan.pk])
    assert f'href="{address}?cure=45"' in page


def test_the_common_least_cure_holds_where_the_table_asks_for_less(reader, table):
    """At least 30 min (common practice, no source), though the row says 20."""
    found = reader.get(WEATHER, {"air": "86", "pavement": "86", "resin": "70"})
    assert found.context["answer"].cure.minutes == 30


def test_between_two_rows_the_safer_unless_a_line_may_be_drawn(reader, table):
    sent = {"air": "59", "pavement": "59", "resin": "70"}  # 15 °C
    steps = reader.get(WEATHER, sent).context["answer"]
    assert (steps.choice.amount, steps.cure.minutes) == (90, 90)
    line = reader.get(WEATHER, {**sent, "between": "straight lines"}).context["answer"]
    assert line.choice.amount == pytest.approx(75.0)
    assert line.cure.minutes == pytest.approx(67.5)


def test_the_table_is_read_as_its_maker_says(reader, table):
    """20 °C of air by its own row: 14 min; a line at 15 °C halfway, 67.5 min."""
    table.goes_by, table.between_rows = "air", "straight lines"
    table.save()
    sent = {"air": "68", "pavement": "59", "resin": "70"}
    found = reader.get(WEATHER, sent)
    answer = found.context["answer"]
    assert answer.choice.pot_life_min == 14
    assert answer.cure.minutes == pytest.approx(67.5)
    assert "goes by the temperature of the air" in found.content.decode()
    asked = reader.get(WEATHER, {**sent, "goes_by": "pavement", "between": "steps"})
    assert asked.context["answer"].cure.minutes == 90
    assert asked.context["answer"].choice.amount == 90


def test_a_cold_day_misses_and_the_table_says_nothing(reader, table):
    found = reader.get(WEATHER, {"air": "30", "pavement": "34", "resin": "60"})
    answer = found.context["answer"]
    assert [one.verdict for one in answer.windows] == ["misses", "misses", "meets"]
    assert answer.choice is None
    assert "says nothing about" in found.content.decode()


def test_one_temperature_outside_its_window_forbids_to_pour(reader, table):
    sent = {"air": "30", "pavement": "68", "resin": "70", "goes_by": "pavement"}
    found = reader.get(WEATHER, sent)
    assert found.context["answer"].choice is not None
    assert "Do not pour at these temperatures." in found.content.decode()
    fine = reader.get(WEATHER, {**sent, "air": "68"}).content.decode()
    assert "Do not pour" not in fine


def test_celsius_typed_for_fahrenheit_is_asked_about(reader, table):
    found = reader.get(WEATHER, {"air": "70", "pavement": "20", "resin": "21"})
    page = found.content.decode()
    assert "Was the pavement temperature of 20 read in °C?" in page
    assert "Was the resin temperature of 21 read in °C?" in page


def test_without_a_table_it_says_what_to_do_first(reader):
    assert 'class="empty"' in reader.get(WEATHER).content.decode()


def test_no_road_is_that_hot(reader, table):
    answer = reader.get(WEATHER, {"air": "700", "pavement": "68", "resin": "70"})
    assert answer.status_code == 422
    assert "not one of a road" in answer.content.decode()


@pytest.mark.parametrize("address", [SQUARE, SPACING, WEATHER])
def test_reckoners_are_open_to_readers_only_and_keep_nothing(
    client_for, guest, outsider, program, address
):
    assert client_for(guest).get(address).status_code == 200
    assert client_for(guest).post(address).status_code == 405
    assert client_for(outsider).get(address).status_code == 403
    assert "Before you start" in client_for(guest).get(address).content.decode()
