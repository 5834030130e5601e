"""Stage templates: drafts are edited, what is in use is frozen, changes are told."""

from __future__ import annotations

import datetime as dt
from io import StringIO

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs.models import (
    InstallationRecord,
    StageTemplate,
    TemplateItem,
    TemplateStage,
)
from installs.selectors import templates as selectors
from installs.services import templates as services
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

pytestmark = pytest.mark.django_db
PIEZO = "polymer piezo"


@pytest.fixture
def in_use(manager):
    services.templates_seed(by=manager)
    return StageTemplate.objects.get(technology=PIEZO)


@pytest.fixture
def draft(in_use, manager):
    return services.template_draft(technology=PIEZO, by=manager)


def item(template, key):
    return TemplateItem.objects.select_related("stage").get(
        stage__template=template, key=key
    )


def order(template):
    return [
        (one.stage.number, one.number, one.key)
        for one in selectors.items_in_order(template)
    ]


def reason(template):
    return template.history.first().history_change_reason


def test_seeding_fills_what_is_empty_and_can_be_repeated(manager):
    own = StageTemplate.objects.create(technology=PIEZO)
    made = services.templates_seed(by=manager)
    assert PIEZO not in {one.technology for one in made}
    assert len(made) == 6
    assert services.templates_seed(by=manager) == []
    assert list(StageTemplate.objects.filter(technology=PIEZO)) == [own]
    quartz = StageTemplate.objects.get(technology="quartz piezo")
    assert quartz.state == "in use"
    assert quartz.stages.count() == 12
    assert quartz.history.get().history_user == manager


def test_a_copy_of_another_technology_has_all_its_items(in_use):
    ceramic = StageTemplate.objects.get(technology="ceramic piezo")
    assert order(ceramic) == order(in_use)


def test_the_command_seeds_and_says_so(db):
    told = StringIO()
    call_command("seed_stage_templates", stdout=told)
    assert "polymer piezo stages, version 1: in use" in told.getvalue()
    again = StringIO()
    call_command("seed_stage_templates", stdout=again)
    assert "nothing to do" in again.getvalue()


def test_a_draft_is_a_whole_copy_of_the_next_version(in_use, draft):
    assert (draft.version, draft.state) == (2, "draft")
    assert order(draft) == order(in_use)
    system = UnitSystem.US
    assert selectors.template_differences(in_use, draft, system) == []
    assert reason(draft) == "draft from version 1"


def test_there_is_one_draft_at_a_time(draft, manager):
    with pytest.raises(DomainError, match="is a draft already"):
        services.template_draft(technology=PIEZO, by=manager)


def test_what_is_in_use_does_not_change(in_use, manager):
    kept = item(in_use, "slot-depth")
    kept.low = 60.0
    stage = kept.stage
    for change in (
        lambda: services.item_change(item=kept, by=manager),
        lambda: services.item_move(item=kept, up=True, by=manager),
        lambda: services.item_remove(item=kept, by=manager),
        lambda: services.stage_change(stage=stage, by=manager),
        lambda: services.stage_move(stage=stage, up=True, by=manager),
        lambda: services.stage_remove(stage=stage, by=manager),
        lambda: services.template_note(template=in_use, note="x", by=manager),
        lambda: services.template_discard(template=in_use, by=manager, why=""),
        lambda: services.template_put_in_use(template=in_use, by=manager, why=""),
    ):
        with pytest.raises(DomainError, match="records are held to them"):
            change()
    assert item(in_use, "slot-depth").low == pytest.approx(50.8)


def test_a_changed_item_is_told_in_the_history(draft, manager):
    changed = item(draft, "slot-depth")
    changed.low = 63.5
    services.item_change(item=changed, by=manager, why="thicker sensor")
    assert item(draft, "slot-depth").low == 63.5
    assert reason(draft).endswith("changed: thicker sensor")
    assert draft.history.first().history_user == manager


@pytest.mark.parametrize(
    ("key", "change", "told"),
    [
        ("cutting-method", {"options": ["wet"]}, "two different answers"),
        ("slot-depth", {"points": 1}, "two points at least"),
        ("slot-depth", {"unit": "mm"}, "a unit of its own"),
        ("slot-depth", {"limit_rule": "curing table of the product"}, "curing table"),
        ("slot-depth", {"limit_rule": "limits of the sensor model"}, "sensor model"),
        ("slot-depth", {"largest_range": -1.0}, "below zero"),
        ("slot-depth", {"limit_source": "contract"}, "but not where"),
        ("blown-dry", {"expected": "maybe"}, "none of its answers"),
        ("blown-dry", {"low": 1.0}, "only numbers"),
        ("clean-slot-photos", {"least_photos": 0}, "no photo"),
        ("bench-insulation", {"test_stage": ""}, "no electrical test"),
        ("bench-insulation", {"quantity": ""}, "what the instrument reads"),
        ("water-running", {"only_if_answer": "damp"}, "does not have"),
        ("water-running", {"only_if_key": "nothing"}, "not asked before it"),
    ],
)
def test_an_item_that_cannot_be_asked_is_refused(draft, manager, key, change, told):
    before = TemplateItem.objects.filter(stage__template=draft, key=key).values().get()
    changed = item(draft, key)
    for name, value in change.items():
        setattr(changed, name, value)
    with pytest.raises(DomainError) as refusal:
        services.item_change(item=changed, by=manager)
    assert any(told in str(one) for one in refusal.value.complaints)
    after = TemplateItem.objects.filter(stage__template=draft, key=key).values().get()
    assert after == before


def test_crossed_limits_are_refused_by_the_model(draft, manager):
    changed = item(draft, "hole-from-edge")
    changed.low, changed.high = 600.0, 500.0
    with pytest.raises(ValidationError, match="below the lowest"):
        services.item_change(item=changed, by=manager)


def test_a_new_item_goes_last_with_a_name_of_its_own(draft, manager):
    stage = draft.stages.get(key="cleaning")
    n = stage.items.count()
    made = [
        services.item_change(
            item=TemplateItem(stage=stage, kind="yes or no", prompt="Is it swept?"),
            by=manager,
        )
        for _ in range(2)
    ]
    assert [one.number for one in made] == [n + 1, n + 2]
    assert [one.key for one in made] == ["is-it-swept", "is-it-swept-2"]


def test_moving_an_item_swaps_it_with_its_neighbour(draft, manager):
    stage = draft.stages.get(key="exit-hole")
    first, second, *rest = stage.items.values_list("key", flat=True)
    services.item_move(item=item(draft, first), up=False, by=manager)
    keys = list(stage.items.values_list("key", flat=True))
    assert keys == [second, first, *rest]
    numbers = list(stage.items.values_list("number", flat=True))
    assert numbers == list(range(1, len(keys) + 1))
    services.item_move(item=item(draft, second), up=True, by=manager)  # at the top
    assert list(stage.items.values_list("key", flat=True)) == keys


def test_an_item_cannot_move_before_what_it_hangs_on(draft, manager):
    before = order(draft)
    with pytest.raises(DomainError, match="not moved") as refusal:
        services.item_move(item=item(draft, "water-running"), up=True, by=manager)
    assert "not asked before it" in str(refusal.value.complaints[0])
    assert order(draft) == before


def test_a_stage_cannot_move_before_what_its_items_hang_on(draft, manager):
    # height-flush of finishing hangs on finish-wanted of setting, two stages earlier.
    services.stage_move(stage=draft.stages.get(key="finishing"), up=True, by=manager)
    with pytest.raises(DomainError, match="not moved"):
        services.stage_move(
            stage=draft.stages.get(key="finishing"), up=True, by=manager
        )
    assert [s.key for s in draft.stages.all()][5:8] == [
        "setting",
        "finishing",
        "pouring",
    ]


def test_what_others_hang_on_cannot_be_removed(draft, manager):
    with pytest.raises(DomainError, match="not removed") as refusal:
        services.item_remove(item=item(draft, "cutting-method"), by=manager)
    assert len(refusal.value.complaints) == 5  # two of the wet, three of the dry
    with pytest.raises(DomainError, match="not removed"):
        services.stage_remove(stage=draft.stages.get(key="setting"), by=manager)


def test_removing_closes_the_gap(draft, manager):
    stage = draft.stages.get(key="exit-hole")
    n = stage.items.count()
    services.item_remove(item=item(draft, "hole-clear"), by=manager, why="no rod")
    assert list(stage.items.values_list("number", flat=True)) == list(range(1, n))
    services.stage_remove(stage=stage, by=manager)
    assert list(draft.stages.values_list("number", flat=True)) == list(range(1, 12))
    assert reason(draft) == "stage “Exit hole and conduit” removed"


def test_a_stage_is_added_at_the_end_and_needs_a_role(draft, manager):
    stage = TemplateStage(
        template=draft, title="Snow fence", purpose="x", sign_roles=["inspector"]
    )
    services.stage_change(stage=stage, by=manager)
    assert (stage.number, stage.key) == (13, "snow-fence")
    with pytest.raises(ValidationError):
        services.stage_change(
            stage=TemplateStage(template=draft, title="None", purpose="x"), by=manager
        )


def test_put_in_use_replaces_and_freezes(in_use, draft, manager, world):
    record = InstallationRecord.objects.create(
        lane=world.lanes[0],
        position="piezo 2",
        technology=PIEZO,
        template=in_use,
        work_on=dt.date(2024, 5, 2),
        traffic_control_plan="TCP 1",
    )
    services.template_put_in_use(template=draft, by=manager, why="season 2024")
    in_use.refresh_from_db()
    draft.refresh_from_db()
    record.refresh_from_db()
    assert (in_use.state, draft.state) == ("replaced", "in use")
    assert draft.in_use_at is not None
    assert record.template == in_use, "a record keeps the version it was made with"
    assert reason(in_use) == "replaced by version 2: season 2024"
    with pytest.raises(DomainError):
        services.template_put_in_use(template=draft, by=manager, why="")


def test_an_unfinished_draft_is_not_put_in_use(draft, manager):
    services.stage_change(
        stage=TemplateStage(
            template=draft, title="Empty", purpose="x", sign_roles=["inspector"]
        ),
        by=manager,
    )
    with pytest.raises(DomainError, match="cannot be put in use") as refusal:
        services.template_put_in_use(template=draft, by=manager, why="")
    assert "asks for nothing" in str(refusal.value.complaints[0])
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_a_discarded_draft_is_gone_and_the_next_takes_its_number(draft, manager):
    pk = draft.pk
    services.template_discard(template=draft, by=manager, why="mistaken")
    assert not StageTemplate.objects.filter(pk=pk).exists()
    last = StageTemplate.history.filter(id=pk).first()
    assert (last.history_type, last.history_change_reason) == ("-", "mistaken")
    assert services.template_draft(technology=PIEZO, by=manager).version == 2


def test_differences_name_what_changed_in_the_programs_units(in_use, draft, manager):
    changed = item(draft, "conduit-cover")
    changed.low = 152.4
    services.item_change(item=changed, by=manager)
    services.item_remove(item=item(draft, "pull-cord"), by=manager)
    stage = draft.stages.get(key="layout")
    services.item_change(
        item=TemplateItem(stage=stage, kind="words", prompt="Who laid it out?"),
        by=manager,
    )
    found = {
        (one.how, one.what): one.parts
        for one in selectors.template_differences(in_use, draft, UnitSystem.US)
    }
    assert ("removed", "Is a cord left in the conduit from end to end?") in found
    assert ("added", "Who laid it out?") in found
    assert len(found) == 3
    parts = found["changed", changed.prompt]
    assert parts == (("passes", "at least 4 in", "at least 6 in"),)
    back = selectors.template_differences(draft, in_use, UnitSystem.SI)
    assert {one.how for one in back} == {"added", "removed", "changed"}


def test_an_order_that_changed_is_a_difference(in_use, draft, manager):
    services.item_move(item=item(draft, "hole-in-line"), up=False, by=manager)
    (found,) = selectors.template_differences(in_use, draft, UnitSystem.US)
    assert (found.stage, found.what) == (
        "Exit hole and conduit",
        "the order of its items",
    )


def test_a_template_is_read_in_as_many_queries_whatever_its_size(in_use):
    plate = StageTemplate.objects.get(technology="bending plate")
    counts = []
    for template in (in_use, plate):
        with CaptureQueriesContext(connection) as caught:
            rows = selectors.template_stages(template, UnitSystem.US)
        assert len(rows) == 12
        counts.append(len(caught))
    assert counts == [2, 2]
