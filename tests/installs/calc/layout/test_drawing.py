"""The outline in metres, and the picture made of it."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from installs.calc.layout.drawing import drawing_svg
from installs.calc.layout.outline import outline
from installs.calc.layout.types import (
    Box,
    Disc,
    ElementKind,
    Ink,
    Measure,
    Stroke,
    Words,
)
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from wimprog.lib.errors import DomainError
from wimprog.lib.units import M_PER_FT as FT
from wimprog.lib.units import UnitSystem

SVG = "{http://www.w3.org/2000/svg}"
US = UnitSystem.US


@pytest.fixture
def layout():
    return usual_array(Technology.POLYMER_PIEZO, lane_width_m=12 * FT, system=US)


def parts(layout, kind, **more):
    return [p for p in outline(layout, system=US, **more).parts if isinstance(p, kind)]


def svg(layout, **more):
    return drawing_svg(
        outline(layout, system=US), **{"drawing_id": "plan", "system": US, **more}
    )


def test_every_along_dimension_starts_at_the_reference_line(layout):
    along = [m for m in parts(layout, Measure) if m.is_along]
    assert [(m.from_m, m.text, m.level) for m in along] == [
        (0.0, "9.00 ft", 0), (0.0, "12.00 ft", 1), (0.0, "21.00 ft", 2),
    ]  # fmt: skip
    across = {m.text for m in parts(layout, Measure) if not m.is_along}
    assert "lane 12.00 ft" in across
    in_metres = outline(layout).parts
    assert "2.743 m" in {m.text for m in in_metres if isinstance(m, Measure)}


def test_halves_of_one_row_share_a_dimension():
    quartz = usual_array(Technology.QUARTZ_PIEZO, lane_width_m=12 * FT, system=US)
    along = [m for m in parts(quartz, Measure) if m.is_along]
    assert [m.text for m in along] == ["9.00 ft", "12.00 ft", "21.00 ft"]


def test_every_element_is_drawn_where_it_lies(layout):
    boxes = {b.title: b for b in parts(layout, Box) if b.title}
    holes = {d.title: d for d in parts(layout, Disc)}
    for one in layout.elements:
        if one.kind is ElementKind.EXIT_HOLE:
            assert holes[one.name].along_m == pytest.approx(one.centre_m)
            continue
        box = boxes[one.name]
        assert (box.along_m, box.across_m, box.length_m, box.width_m) == pytest.approx(
            (one.start_m, one.across_from_m, one.length_m, one.across_width_m)
        )
    named = {w.text for w in parts(layout, Words)}
    assert {one.name for one in layout.in_lane} <= named
    inks = {s.ink for s in parts(layout, Stroke)}
    assert {Ink.REFERENCE, Ink.TRAFFIC, Ink.LANE_LINE, Ink.EDGE_LINE} <= inks


def test_elements_before_the_line_are_measured_backwards(layout):
    first = layout.elements[0]
    ahead = replace(layout, elements=(replace(first, start_m=-3.0),))
    (measure,) = [m for m in parts(ahead, Measure) if m.is_along]
    assert measure.to_m == -3.0
    assert measure.text.startswith("−")
    ET.fromstring(svg(ahead))  # noqa: S314  (our own drawing)


def test_drawing_is_to_scale_both_ways(layout):
    root = ET.fromstring(svg(layout, width=1000))  # noqa: S314
    rects = {
        rect.findtext(f"{SVG}title"): rect
        for rect in root.iter(f"{SVG}rect")
        if rect.findtext(f"{SVG}title")
    }
    loop, loop2 = rects["loop 1"], rects["loop 2"]
    wide, tall = float(loop.get("width")), float(loop.get("height"))
    assert wide == pytest.approx(tall, abs=0.11)  # six feet by six
    apart = float(loop2.get("x")) - float(loop.get("x"))
    assert apart == pytest.approx(2 * wide, abs=0.3)  # twelve feet
    sensor = rects["piezo 1"]
    assert float(sensor.get("height")) == pytest.approx(11 / 6 * wide, abs=0.3)
    assert float(sensor.get("width")) >= 5.0  # thin, but to be seen


def test_drawing_keeps_to_presentation_attributes(layout):
    text = svg(layout)
    root = ET.fromstring(text)  # noqa: S314
    for element in root.iter():
        assert not {"style", "class"} & set(element.attrib)
        assert element.tag.removeprefix(SVG) not in {"style", "script", "image"}
    assert not re.search(r"(nan|inf)\b", text)
    ids = re.findall(r'id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert all(one.startswith("plan-") for one in ids)


def test_drawing_says_what_it_shows(layout):
    root = ET.fromstring(svg(layout))  # noqa: S314
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "plan-title plan-desc"
    assert root.findtext(f"{SVG}title") == "Polymer piezo array, seen from above"
    told = root.findtext(f"{SVG}desc")
    assert "piezo 2 at 21.00 ft (centre line)" in told
    assert "4 exit holes" in told
    words = " ".join(t.text for t in root.iter(f"{SVG}text"))
    assert "to scale" in words


def test_names_are_text_and_never_markup(layout):
    bad = replace(layout.elements[0], name='<script>"&')
    text = svg(replace(layout, elements=(bad, *layout.elements[1:])))
    assert "<script>" not in text
    assert '<script>"&' in {t.text for t in ET.fromstring(text).iter(f"{SVG}text")}  # noqa: S314


@pytest.mark.parametrize(
    "technology", [t for t in Technology if t is not Technology.TEMPERATURE_PROBE]
)
def test_report_writer_takes_the_drawing(technology, tmp_path):
    typst = pytest.importorskip("typst")
    layout = usual_array(technology, lane_width_m=3.6)
    (tmp_path / "plan.svg").write_text(svg(layout), encoding="utf-8")
    source = tmp_path / "plan.typ"
    source.write_text('#image("plan.svg", alt: "plan", width: 100%)')
    assert typst.compile(source).startswith(b"%PDF")


def test_what_cannot_be_drawn_is_refused(layout):
    with pytest.raises(DomainError, match="nothing in the lane"):
        outline(replace(layout, elements=()))
    with pytest.raises(ValueError, match="id"):
        svg(layout, drawing_id="1 plan")
    with pytest.raises(ValueError, match="narrow"):
        svg(layout, width=60)


def test_without_a_shoulder_or_trench_to_the_cabinet_less_is_drawn():
    bare = usual_array(
        Technology.BENDING_PLATE,
        lane_width_m=3.6,
        shoulder_width_m=0.0,
        cabinet_from_edge_m=0.5,
    )
    (trench,) = bare.of_kind(ElementKind.TRENCH)
    assert trench.name == "trench along the edge"
    across = [m.text for m in parts(bare, Measure) if not m.is_along]
    assert [text.split()[0] for text in across] == ["lane", "cabinet"]
    assert not any(b.ink is Ink.SHOULDER for b in parts(bare, Box))
    untrenched = replace(
        bare, elements=tuple(e for e in bare.elements if e is not trench)
    )
    assert not any(s.ink is Ink.CONDUIT for s in parts(untrenched, Stroke))


def test_every_hole_has_its_conduit_to_the_trench(layout):
    conduits = [s for s in parts(layout, Stroke) if s.ink is Ink.CONDUIT]
    holes = layout.of_kind(ElementKind.EXIT_HOLE)
    assert sorted(s.begin[0] for s in conduits) == pytest.approx(
        sorted(h.centre_m for h in holes)
    )
    edge = max(t.across_to_m for t in layout.of_kind(ElementKind.TRENCH))
    assert {s.end[1] for s in conduits} == {edge}


def test_a_small_drawing_tells_numbers_of_the_table_where_names_have_no_room():
    quartz = usual_array(Technology.QUARTZ_PIEZO, lane_width_m=12 * FT, system=US)

    def words(**size):
        root = ET.fromstring(svg(quartz, **size))  # noqa: S314
        return {t.text for t in root.iter(f"{SVG}text")}

    page, phone = words(), words(width=520, font_size=17)
    assert {"quartz 1 right", "shoulder 8.00 ft"} <= page
    assert {"2", "8.00 ft", "loop 1"} <= phone
    assert not {"quartz 1 right", "shoulder 8.00 ft"} & phone
    assert "21.00 ft" in page & phone


def test_travel_runs_right_and_the_right_edge_lies_below_the_left(layout):
    root = ET.fromstring(svg(layout))  # noqa: S314
    lines = {
        one.findtext(f"{SVG}title"): one
        for one in root.iter()
        if one.findtext(f"{SVG}title")
    }
    height = {
        name: float(lines[name].get("y1"))
        for name in ("lane line, left", "edge line, right", "pavement edge")
    }
    assert sorted(height, key=height.get) == list(height)
    arrow = lines["direction of traffic"].get("d")
    tail, tip = (float(re.search(rf"{c}([\d.]+) ", arrow)[1]) for c in "ML")
    assert tail < tip
    cabinet = float(lines["cabinet"].get("y"))
    assert cabinet > height["pavement edge"]
