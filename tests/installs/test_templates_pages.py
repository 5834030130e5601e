"""Pages of the stage templates: who sees, who changes, in which units."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.models import StageTemplate, TemplateItem
from installs.services import templates as services

pytestmark = pytest.mark.django_db
PIEZO = "polymer piezo"


def url(name, *args):
    return reverse(f"installs:template-{name}", args=args)


@pytest.fixture
def in_use(program, manager):
    services.templates_seed(by=manager)
    return StageTemplate.objects.get(technology=PIEZO)


@pytest.fixture
def draft(in_use, manager):
    return services.template_draft(technology=PIEZO, by=manager)


@pytest.fixture
def page_of(client_for, manager):
    return client_for(manager)


def item(template, key):
    return TemplateItem.objects.get(stage__template=template, key=key)


def test_without_templates_the_manager_seeds_the_usual_ones(page_of, program):
    page = page_of.get(url("list")).content.decode()
    assert "No stage templates yet." in page
    assert "Seed the usual templates" in page
    answer = page_of.post(url("seed"), follow=True)
    assert "The usual stages are in use for" in answer.content.decode()
    assert StageTemplate.objects.filter(state="in use").count() == 7
    again = page_of.post(url("seed"), follow=True)
    assert "nothing was changed" in again.content.decode()


def test_others_read_and_do_not_change(
    client_for, technician, analyst, guest, draft, in_use
):
    stage = draft.stages.first()
    for user in (technician, analyst, guest):
        client = client_for(user)
        listed = client.get(url("list")).content.decode()
        assert "Make the next version" not in listed
        page = client.get(url("detail", draft.pk))
        assert page.status_code == 200
        assert "Change this stage" not in page.content.decode()
        assert client.get(url("differences", draft.pk)).status_code == 200
        for name, pk in (
            ("note", draft.pk),
            ("use", draft.pk),
            ("discard", draft.pk),
            ("stage-add", draft.pk),
            ("stage", stage.pk),
            ("item-add", stage.pk),
            ("item-edit", stage.items.first().pk),
        ):
            assert client.get(url(name, pk)).status_code == 403, name
        assert client.post(url("seed")).status_code == 403
        assert client.post(url("draft"), {"technology": PIEZO}).status_code == 403
        move = url("stage-move", stage.pk)
        assert client.post(move, {"way": "down"}).status_code == 403


def test_a_template_reads_as_a_check_list_with_limits_and_their_source(
    client_for, guest, in_use, program
):
    client = client_for(guest)
    page = client.get(url("detail", in_use.pk)).content.decode()
    assert "at least 4 in" in page
    assert "14 in to 22 in" in page
    assert "common practice, no source" in page
    assert "curing table comes first" in page
    assert "only if “How was it cut?” is “wet”" in page
    assert "Silica dust" in page
    program.unit_system = "si"
    program.save()
    page = client.get(url("detail", in_use.pk)).content.decode()
    assert "at least 101.6 mm" in page


def test_a_page_takes_as_many_queries_for_a_large_template_as_for_a_small(
    client_for, guest, in_use
):
    client = client_for(guest)
    small = StageTemplate.objects.create(technology="temperature probe")
    counts = []
    for template in (in_use, small):
        client.get(url("detail", template.pk))
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url("detail", template.pk)).status_code == 200
        counts.append(len(caught))
    # the small one has no version before it and no stage; it cannot need more
    assert counts[0] <= counts[1] + 1
    assert counts[0] < 20


def test_the_next_version_is_drafted_changed_and_put_in_use(page_of, in_use):
    answer = page_of.post(url("draft"), {"technology": PIEZO})
    draft = StageTemplate.objects.get(technology=PIEZO, state="draft")
    assert answer.url == draft.get_absolute_url()
    twice = page_of.post(url("draft"), {"technology": PIEZO}, follow=True)
    assert "is a draft already" in twice.content.decode()
    cover = item(draft, "conduit-cover")
    edit = url("item-edit", cover.pk)
    assert 'value="4"' in page_of.get(edit).content.decode()
    answer = page_of.post(
        edit,
        {
            "prompt": cover.prompt,
            "required": "on",
            "least_photos": "0",
            "low": "6.5",
            "high": "",
            "limit_rule": "as written",
            "limit_source": "contract",
            "limit_reference": "clause 7.2",
            "why": "ploughs",
        },
    )
    assert answer.url.startswith(url("stage", cover.stage_id))
    cover.refresh_from_db()
    assert cover.low == pytest.approx(165.1)  # 6.5 in
    assert 'value="6.5"' in page_of.get(edit).content.decode()
    told = page_of.get(url("differences", draft.pk)).content.decode()
    assert "<del>at least 4 in</del>" in told
    assert "<ins>at least 6.5 in</ins>" in told
    use = url("use", draft.pk)
    assert page_of.post(use, {"why": ""}).status_code == 422
    answer = page_of.post(use, {"why": "clause 7.2"}, follow=True)
    assert "New records are made by" in answer.content.decode()
    draft.refresh_from_db()
    assert draft.state == "in use"
    frozen = page_of.get(edit, follow=True).content.decode()
    assert "make a draft of the next version" in frozen


def test_a_refused_item_comes_back_with_what_was_typed(page_of, draft):
    cover = item(draft, "conduit-cover")
    answer = page_of.post(
        url("item-edit", cover.pk),
        {
            "prompt": "Depth",
            "least_photos": "0",
            "low": "4,5",
            "limit_rule": "as written",
            "limit_source": "agency",
        },
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "write a point for decimals" in page
    assert 'value="4,5"' in page
    assert item(draft, "conduit-cover").low == pytest.approx(101.6)


def test_limits_of_temperatures_and_of_ranges_are_typed_in_the_programs_units(
    page_of, draft
):
    pavement = item(draft, "pavement-temperature-at-pour")
    sent = {
        "prompt": pavement.prompt,
        "required": "on",
        "least_photos": "0",
        "low": "41",
        "high": "104",
        "limit_rule": "curing table of the product",
        "limit_source": "agency",
        "limit_reference": "sheet 3",
    }
    assert page_of.post(url("item-edit", pavement.pk), sent).status_code == 302
    pavement.refresh_from_db()
    assert pavement.low == pytest.approx(5.0)
    assert pavement.high == pytest.approx(40.0)
    depth = item(draft, "slot-depth")
    sent = {
        "prompt": depth.prompt,
        "required": "on",
        "least_photos": "1",
        "points": "5",
        "low": "2.5",
        "largest_range": "0.0625",
        "limit_source": "common practice, no source",
    }
    assert page_of.post(url("item-edit", depth.pk), sent).status_code == 302
    depth.refresh_from_db()
    assert depth.largest_range == pytest.approx(1.5875)
    assert (depth.points, depth.high) == (5, None)


def test_an_item_is_added_in_two_steps_and_hangs_on_an_answer(page_of, draft):
    stage = draft.stages.get(key="saw-cutting")
    add = url("item-add", stage.pk)
    assert "What kind of answer" in page_of.get(add).content.decode()
    wrong = page_of.get(add, {"kind": "reading of an instrument"})
    assert wrong.status_code == 422
    step = f"{add}?kind=measurement&measure=short+length"
    page = page_of.get(step).content.decode()
    assert "“How was it cut?” is “dry”" in page
    assert '<span class="unit" aria-hidden="true">in</span>' in page
    answer = page_of.post(
        step,
        {
            "prompt": "Length of the\nhose",
            "least_photos": "0",
            "low": "1",
            "limit_rule": "as written",
            "limit_source": "agency",
            "limit_reference": "yard rule 4",
            "only_if": "cutting-method=wet",
        },
    )
    made = item(draft, "length-of-the-hose")
    assert answer.url == f"{url('stage', stage.pk)}#item-{made.pk}"
    assert (made.low, made.only_if_answer) == (pytest.approx(25.4), "wet")
    assert not made.required


def test_a_choice_needs_two_answers(page_of, draft):
    stage = draft.stages.get(key="saw-cutting")
    step = f"{url('item-add', stage.pk)}?kind=one+of+several"
    sent = {"prompt": "Which saw?", "least_photos": "0", "options": "big"}
    sent |= {"limit_source": "agency"}
    answer = page_of.post(step, sent)
    assert answer.status_code == 422
    assert "two different answers" in answer.content.decode()
    sent["options"] = "big\n small \n"
    assert page_of.post(step, sent).status_code == 302
    assert item(draft, "which-saw").options == ["big", "small"]


def test_stages_are_added_changed_moved_and_removed(page_of, draft):
    sent = {
        "title": "Signs",
        "purpose": "Prove that the signs stand.",
        "cautions": ["traffic", "pressure_washing"],
        "sign_roles": ["inspector"],
    }
    answer = page_of.post(url("stage-add", draft.pk), sent)
    stage = draft.stages.get(key="signs")
    assert answer.url == url("stage", stage.pk)
    page = page_of.get(answer.url).content.decode()
    assert "Cautions: traffic, pressure washing." in page
    nobody = sent | {"sign_roles": []}
    assert page_of.post(url("stage-edit", stage.pk), nobody).status_code == 422
    page_of.post(url("stage-move", stage.pk), {"way": "up"})
    stage.refresh_from_db()
    assert stage.number == 12
    gone = page_of.post(url("stage-remove", stage.pk), {"why": "not ours"})
    assert gone.url == draft.get_absolute_url()
    assert draft.stages.count() == 12


def test_a_move_that_breaks_a_condition_is_refused_in_words(page_of, draft):
    first = item(draft, "water-running")
    answer = page_of.post(
        url("item-move", first.pk), {"way": "up"}, follow=True
    ).content.decode()
    assert "The item was not moved." in answer
    assert "not asked before it" in answer
    where = url("item-move", first.pk)
    assert "up or down" in page_of.post(where, follow=True).content.decode()


def test_removing_an_item_asks_why_and_tells_what_hangs_on_it(page_of, draft):
    asked = item(draft, "cutting-method")
    remove = url("item-remove", asked.pk)
    assert asked.prompt in page_of.get(remove).content.decode()
    refused = page_of.post(remove, {"why": "x"})
    assert refused.status_code == 422
    assert "Take its condition away first." in refused.content.decode()
    loose = item(draft, "pull-cord")
    assert page_of.post(url("item-remove", loose.pk), {"why": "x"}).status_code == 302
    assert not TemplateItem.objects.filter(pk=loose.pk).exists()


def test_a_draft_is_noted_and_discarded(page_of, draft):
    page_of.post(url("note", draft.pk), {"note": "Deeper slots."})
    assert "Deeper slots." in page_of.get(url("detail", draft.pk)).content.decode()
    answer = page_of.post(url("discard", draft.pk), {"why": "mistaken"})
    assert answer.url == url("list")
    assert page_of.get(url("detail", draft.pk)).status_code == 404


def test_an_unknown_technology_is_refused(page_of, program):
    answer = page_of.post(url("draft"), {"technology": "magic"}, follow=True)
    assert "Choose the technology" in answer.content.decode()
    assert not StageTemplate.objects.exists()
