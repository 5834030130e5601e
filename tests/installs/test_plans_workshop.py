"""Work settings and curing tables: kept as typed, whole, and by those who may."""

from __future__ import annotations

import pytest
from django.urls import reverse

from installs.calc.layout.types import WorkStep
from installs.models import CuringRow, CuringTable, WorkSettings
from installs.selectors.plans import work_settings_get
from installs.services.plans import curing_table_save, work_settings_save
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db

TABLE = {
    "product": "Invented resin 2",
    "document": "Sheet 4, 2023 (invented)",
    "hardener_unit": "g a kit",
    "pavement_low_c": "40",
    "pavement_high_c": "110",
    "resin_low_c": "50",
    "resin_high_c": "95",
    "goes_by": "air",
    "between_rows": "straight lines",
}


def rows_of(*rows, kept=0):
    data = {"rows-TOTAL_FORMS": str(len(rows)), "rows-INITIAL_FORMS": str(kept)}
    for i, row in enumerate(rows):
        names = ("temperature", "hardener_amount", "pot_life_min", "cure_min")
        for name, text in zip(names, row, strict=False):
            data[f"rows-{i}-{name}"] = text
        if len(row) > 4:
            data[f"rows-{i}-DELETE"] = "on"
    return data


def settings_data(form, **changes):
    return {
        **{
            name: "" if form[name].value() in (None, False) else form[name].value()
            for name in form.fields
        },
        **changes,
    }


def test_without_a_row_common_practice_holds():
    work = work_settings_get()
    assert work.pk == 1
    assert work.square_tolerance_mm == 12.7
    assert not WorkSettings.objects.exists()


def test_the_manager_writes_the_agencys_own_figures(client_for, manager, program):
    client = client_for(manager)
    url = reverse("installs:work-settings-edit")
    form = client.get(url).context["form"]
    data = settings_data(
        form,
        square_tolerance_mm="0.250",
        saw_waste_share="7.5",
        hours_layout="1.5",
        crew_size="5",
        lead_slack_m="10",
        blade_diameter_mm="18",
        longest_closure_h="9.5",
        kits_by_pour="",
    )
    assert client.post(url, data).status_code == 302
    work = work_settings_get()
    assert work.square_tolerance_mm == pytest.approx(6.35)  # 0.25 in, exact
    assert work.saw_waste_share == pytest.approx(0.075)
    assert work.step_hours == {WorkStep.LAYOUT.value: 1.5}
    assert work.lead_slack_m == pytest.approx(3.048)  # 10 ft, exact
    assert work.blade_diameter_mm == pytest.approx(457.2)  # 18 in, exact
    assert (work.longest_closure_h, work.kits_by_pour) == (9.5, False)
    assert work.history.count() == 1
    page = client.get(reverse("installs:work-settings")).content.decode()
    assert "0.250 in" in page
    assert "7.5 %" in page
    assert "9.5 h" in page


def test_saved_untouched_the_figures_stay_what_they_were(client_for, manager, program):
    """Boxes show 0.039 in and 39.37 ft an hour; 1 mm and 12 m are kept as they were."""
    client = client_for(manager)
    url = reverse("installs:work-settings-edit")
    form = client.get(url).context["form"]
    assert form["saw_rate_m_per_hour"].value() == "39.37"
    assert client.post(url, settings_data(form)).status_code == 302
    kept, usual = work_settings_get(), WorkSettings()
    for name in form.Meta.fields:
        assert getattr(kept, name) == getattr(usual, name), name
    assert kept.step_hours == {}
    data = settings_data(form, saw_rate_m_per_hour="50")
    assert client.post(url, data).status_code == 302
    assert work_settings_get().saw_rate_m_per_hour == pytest.approx(15.24)  # 50 ft


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("saw_waste_share", "120", "not between 0 and 100 %"),
        ("hours_layout", "-1", "not between 0 and 100"),
        ("square_tolerance_mm", "¼", "is not a number"),
        ("tape_sd_mm", "0", "greater than or equal"),
        ("longest_closure_h", "0", "greater than or equal to 0.1"),
        ("longest_closure_h", "night", "is not a number"),
    ],
)
def test_settings_that_cannot_be_are_refused_in_words(
    client_for, manager, program, name, text, told
):
    client = client_for(manager)
    url = reverse("installs:work-settings-edit")
    form = client.get(url).context["form"]
    answer = client.post(url, settings_data(form, **{name: text}))
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not WorkSettings.objects.exists()


def test_settings_are_never_two():
    work_settings_save(work=WorkSettings(crew_size=3), by=None, why="")
    again = work_settings_get()
    again.crew_size = 6
    work_settings_save(work=again, by=None, why="more hands")
    assert WorkSettings.objects.get().crew_size == 6
    assert again.history.first().history_change_reason == "more hands"


def test_a_makers_table_comes_back_as_it_was_typed(client_for, manager, program):
    """68 °F is 20 °C and 41.5 °F is 5.2778 °C, by (F − 32) × 5/9."""
    client = client_for(manager)
    data = {
        **TABLE,
        **rows_of(("41.5", "90", "25", "75"), ("68", "60", "14", "40"), ("",) * 4),
    }
    answer = client.post(reverse("installs:curing-add"), data)
    table = CuringTable.objects.get()
    assert answer["Location"] == reverse("installs:curing-detail", args=[table.pk])
    assert [row.temp_c for row in table.rows.all()] == [
        pytest.approx(9.5 * 5 / 9),
        pytest.approx(20.0),
    ]
    form = client.get(reverse("installs:curing-edit", args=[table.pk])).context["rows"]
    assert [row["temperature"].value() for row in form.initial_forms] == ["41.5", "68"]
    page = client.get(answer["Location"]).content.decode()
    assert "41.5 °F" in page
    assert "g a kit" in page
    assert (table.goes_by, table.between_rows) == ("air", "straight lines")
    assert "the temperature of the air" in page
    assert "draw a straight line" in page


def test_rows_are_changed_struck_out_and_added_together(client_for, manager, program):
    table = curing_table_save(
        table=CuringTable(product="A", document="B", hardener_unit="g"),
        rows=[
            CuringRow(temp_c=t, hardener_amount=50, pot_life_min=10, cure_min=30)
            for t in (10.0, 20.0)
        ],
        by=None,
        why="",
    )
    url = reverse("installs:curing-edit", args=[table.pk])
    rows = rows_of(
        ("50", "50", "10", "45"),
        ("68", "50", "10", "30", "out"),
        ("86", "30", "6", "30"),
        kept=2,
    )
    assert client_for(manager).post(url, {**TABLE, **rows}).status_code == 302
    kept = [(row.temp_c, row.cure_min) for row in table.rows.all()]
    assert kept == [(pytest.approx(10.0), 45.0), (pytest.approx(30.0), 30.0)]


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([("",) * 4], "at least one row"),
        ([("68", "1", "2", "3"), ("68.0", "1", "2", "3")], "stands in line 1 already"),
        ([("68", "1", "2", "")], "This field is required"),
        ([("sixty", "1", "2", "3")], "is not a number"),
        ([("400", "1", "2", "3")], "less than or equal to 90"),
    ],
)
def test_one_wrong_row_keeps_the_whole_table_out(
    client_for, manager, program, rows, told
):
    answer = client_for(manager).post(
        reverse("installs:curing-add"), {**TABLE, **rows_of(*rows)}
    )
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not CuringTable.objects.exists()
    assert not CuringRow.objects.exists()


def test_a_refused_change_leaves_the_rows_that_were_kept():
    rows = [CuringRow(temp_c=10, hardener_amount=1, pot_life_min=1, cure_min=30)]
    table = CuringTable(product="A", document="B", hardener_unit="g")
    curing_table_save(table=table, rows=rows, by=None, why="")
    with pytest.raises(DomainError, match="not kept"):
        curing_table_save(table=table, rows=[], by=None, why="")
    assert table.rows.count() == 1


@pytest.mark.parametrize("name", ["work-settings-edit", "curing-add"])
def test_only_the_manager_changes_them(
    client_for, technician, analyst, guest, program, name
):
    for user in (technician, analyst, guest):
        assert client_for(user).get(reverse(f"installs:{name}")).status_code == 403


@pytest.mark.parametrize("name", ["work-settings", "curing-list"])
def test_everybody_with_a_group_reads_them(
    client_for, technician, guest, outsider, program, name
):
    for user in (technician, guest):
        assert client_for(user).get(reverse(f"installs:{name}")).status_code == 200
    assert client_for(outsider).get(reverse(f"installs:{name}")).status_code == 403
