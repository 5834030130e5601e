"""How numbers, conditions, verdicts and forms are printed."""

from types import SimpleNamespace

import django_tables2 as tables
import pytest
from django import forms
from django.template import Context, Template, TemplateSyntaxError
from django.template.loader import render_to_string
from django.test import RequestFactory

from wimprog.lib.judgement import Interval, Judgement, Verdict

US = SimpleNamespace(unit_system="us")
SI = SimpleNamespace(unit_system="si")


def shown(source, **context):
    return Template("{% load wim %}" + source).render(Context(context))


def test_a_stored_mass_is_shown_in_the_programs_units():
    source = '{% measure kg "mass" %}'
    assert shown(source, kg=36278.317, program=US) == "79,980 lb"
    assert shown(source, kg=36278.317, program=SI) == "36,278 kg"
    assert shown(source, kg=None, program=US) == "no data"
    assert shown(source, kg=0.0, program=US) == "0 lb"
    assert shown(source, kg=1.0) == "2 lb"  # US customary where no program is stored


def test_a_typed_value_comes_back_exactly_as_typed():
    run = SimpleNamespace(gvw_kg=36278.317, as_typed={"gvw_kg": ["79980.00", "lb"]})
    assert shown('{% typed run "gvw_kg" %}', run=run, program=US) == "79980.00 lb"
    assert shown('{% typed run "gvw_kg" %}', run=run, program=SI) == "79980.00 lb"


def test_a_value_that_was_not_typed_is_converted():
    run = SimpleNamespace(gvw_kg=1000.0, axle_m=[1.0, 2.0], speed_kmh=None, as_typed={})
    assert shown('{% typed run "gvw_kg" %}', run=run, program=US) == "2,205 lb"
    assert shown('{% typed run "axle_m" %}', run=run, program=US) == "3.3 6.6 ft"
    assert shown('{% typed run "speed_kmh" %}', run=run, program=US) == "no data"


def test_a_name_without_a_unit_cannot_be_shown_as_a_measurement():
    with pytest.raises(TemplateSyntaxError, match="does not end in a unit"):
        shown('{% typed run "lot" %}', run=SimpleNamespace(lot="x"), program=US)


@pytest.mark.parametrize(
    ("source", "value", "text"),
    [
        ("{{ v|pct }}", -1.25, "−1.2 %"),
        ("{{ v|pct:0 }}", None, "no data"),
        ("{{ v|signed_pct }}", 0.4, "+0.4 %"),
        ("{{ v|share }}", 0.975, "98 %"),
        ("{{ v|share:1 }}", float("nan"), "no data"),
        ("{{ v|number }}", 12345, "12,345"),
        ("{{ v|nodata }}", 0, "0"),
        ("{{ v|nodata }}", "", "no data"),
    ],
)
def test_no_data_is_said_and_never_zero(source, value, text):
    assert shown(source, v=value) == text


def test_a_condition_is_a_mark_and_a_word():
    text = shown('{% condition "act" %}')
    assert "<svg" in text
    assert text.endswith(" act</span>")


def test_a_verdict_never_stands_without_n_interval_and_rule():
    judgement = Judgement(
        "gross weight", 1.2, "%", 40, Interval(-5.88, 8.28), "rule <A>", "±10 %",
        Verdict.MEETS, "It meets.", details=(("pi0", 0.95),),
    )  # fmt: skip
    text = shown("{% verdict j %}", j=judgement)
    for part in ("meets", "1.20 %", "n 40", "−5.88 to +8.28 % (95 % interval)",
                 "rule &lt;A&gt;", "±10 %", "confirmed", "0.950"):  # fmt: skip
        assert part in text


def test_a_verdict_on_nothing_cannot_say():
    judgement = Judgement("gross weight", None, "%", 0, None, "r", "l",
                          Verdict.CANNOT_SAY, "No runs.")  # fmt: skip
    text = shown("{% verdict j %}", j=judgement)
    assert "no data" in text
    assert "no interval" in text
    assert "cannot say" in text


def test_a_page_link_keeps_the_filter():
    request = RequestFactory().get("/sites/?state=act&page=2")
    text = shown("{% param_replace page=3 %}", request=request)
    assert text == "?state=act&amp;page=3"
    assert shown("{% param_replace page=None %}", request=request) == "?state=act"


class RunForm(forms.Form):
    gvw_kg = forms.CharField(
        label="Gross weight",
        help_text="As the scale printed it.",
        widget=forms.TextInput(attrs={"data-unit": "lb"}),
    )
    closed = forms.BooleanField(label="Lane closed", required=False)
    stage = forms.ChoiceField(choices=[("a", "as found")], widget=forms.RadioSelect)


def test_a_form_says_units_help_and_what_is_optional():
    text = render_to_string(
        "includes/_form.html", {"form": RunForm(), "submit": "Keep"}
    )
    assert '<label for="id_gvw_kg">Gross weight <span class="unit-word">(lb)' in text
    assert 'id="id_gvw_kg_helptext"' in text
    assert 'aria-describedby="id_gvw_kg_helptext"' in text
    assert "<legend>stage" in text.lower()
    assert "error-summary" not in text


def test_a_refused_form_lists_what_to_mend_with_links():
    form = RunForm({})
    form.add_error(None, "Two runs have one <time>.")
    text = render_to_string("includes/_form.html", {"form": form})
    assert 'role="alert"' in text
    assert '<a href="#id_gvw_kg">Gross weight</a>: This field is required.' in text
    assert "Two runs have one &lt;time&gt;." in text
    assert 'aria-invalid="true"' in text


def test_cautions_defer_to_those_who_govern_even_when_none_are_listed():
    text = render_to_string("includes/_cautions.html", {})
    for part in ("traffic control plan", "maker’s instructions", "local codes",
                 "licensed practice"):  # fmt: skip
        assert part in text


class RunTable(tables.Table):
    gvw = tables.Column(verbose_name="Gross <weight>")
    note = tables.Column(orderable=False, empty_values=())

    class Meta:
        template_name = "includes/_table.html"


def rendered_table(rows, address="/runs/?q=a&sort=-gvw", per_page=2):
    table = RunTable(rows, empty_text="No runs yet: add the first.")
    table.caption = "Truck runs"
    request = RequestFactory().get(address)
    tables.RequestConfig(request, paginate={"per_page": per_page}).configure(table)
    return table.as_html(request)


def test_a_table_says_what_it_is_how_it_is_sorted_and_names_its_cells():
    text = rendered_table([{"gvw": i, "note": "x"} for i in range(5)])
    assert '<caption class="visually-hidden">Truck runs</caption>' not in text
    assert "Truck runs</caption>" in text
    assert 'aria-sort="descending"' in text
    assert text.count("aria-sort") == 1
    assert 'data-label="Gross &lt;weight&gt;"' in text
    assert 'role="region" tabindex="0" aria-label="Truck runs"' in text
    assert "Page 1 of 3" in text
    assert 'rel="next" href="?q=a&amp;sort=-gvw&amp;page=2"' in text


def test_an_empty_table_says_what_to_do_next():
    assert "No runs yet: add the first." in rendered_table([])


def test_lists_among_a_verdicts_details_read_as_words():
    judgement = Judgement(
        "overall", None, "", 40, None, "a rule", "a limit", Verdict.MEETS, "Meets.",
        details=(("covers", ["gross weight", "axle"]), ("left_out", [])),
    )  # fmt: skip
    text = shown("{% verdict j %}", j=judgement)
    assert "gross weight, axle" in text
    assert "[" not in text
