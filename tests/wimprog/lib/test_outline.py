"""The map of the sites, and GeoJSON outlines (RFC 7946), good and bad."""

# ruff: noqa: S314 (the XML read here is our own drawing)

import math
import re
import xml.etree.ElementTree as ET

import pytest

from wimprog.lib.errors import DomainError
from wimprog.lib.outline import SiteMap, SitePoint, read_outline, site_map_svg

SVG = "{http://www.w3.org/2000/svg}"
SQUARE = [
    [-108.0, 39.0],
    [-106.0, 39.0],
    [-106.0, 41.0],
    [-108.0, 41.0],
    [-108.0, 39.0],
]
HOLE = [[-107.5, 39.5], [-107.0, 39.5], [-107.0, 40.0], [-107.5, 39.5]]


def feature(geometry, **properties):
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features):
    return {"type": "FeatureCollection", "features": list(features)}


POLYGON = {"type": "Polygon", "coordinates": [SQUARE, HOLE]}


def test_polygons_lines_and_collections_are_read():
    lines = read_outline(
        collection(
            feature(POLYGON),
            feature({"type": "MultiPolygon", "coordinates": [[SQUARE], [SQUARE]]}),
            feature({"type": "LineString", "coordinates": SQUARE[:2]}, name="Route 9"),
            feature({"type": "MultiLineString", "coordinates": [SQUARE[:2]] * 2}),
            feature({"type": "GeometryCollection", "geometries": [POLYGON]}),
            feature({"type": "Point", "coordinates": [-107, 40]}),
            feature(None),
        )
    )
    assert [line.closed for line in lines] == [True] * 4 + [False] * 3 + [True] * 2
    assert lines[4].name == "Route 9"
    assert read_outline(None) == ()
    assert len(read_outline(POLYGON)) == len(read_outline(feature(POLYGON))) == 2


def test_a_third_number_of_a_position_is_its_height_and_is_left_out():
    line = {"type": "LineString", "coordinates": [[-107, 40, 1600], [-106, 40, 1500]]}
    assert read_outline(line)[0].positions == ((-107.0, 40.0), (-106.0, 40.0))


@pytest.mark.parametrize(
    ("geojson", "told"),
    [
        ([], "does not hold a GeoJSON object"),
        ({"type": "Topology"}, "geometry.type"),
        ({"type": "FeatureCollection"}, "features"),
        (collection({"type": "feature"}), r"features\[0\]"),
        (collection("road"), r"features\[0\]"),
        (feature({"type": "Circle"}), "Polygon"),
        (feature({"type": "Polygon"}), "coordinates"),
        (feature({"type": "Polygon", "coordinates": [SQUARE[:3]]}), "4 positions"),
        (feature({"type": "LineString", "coordinates": [[1, 2]]}), "2 positions"),
        (
            feature({"type": "LineString", "coordinates": [[1, 2], ["a", 2]]}),
            r"coordinates\[1\].*pair of numbers",
        ),
        (
            feature({"type": "LineString", "coordinates": [[1, 2], [True, 2]]}),
            "pair of numbers",
        ),
        (
            feature({"type": "LineString", "coordinates": [[40, 107], [512000, 4e6]]}),
            "latitude before longitude",
        ),
        (
            feature({"type": "LineString", "coordinates": [[1, 2], [math.nan, 2]]}),
            "not on the globe",
        ),
    ],
)
def test_what_is_not_geojson_is_refused_with_place_and_remedy(geojson, told):
    with pytest.raises(DomainError, match=told) as caught:
        read_outline(geojson)
    (complaint,) = caught.value.complaints
    assert complaint.field
    assert complaint.expected
    assert "Export the outline as GeoJSON" in complaint.remedy


def points_of(root):
    found = {}
    for group in root.iter(f"{SVG}g"):
        title = group.find(f"{SVG}title")
        if title is not None:
            x, y = re.findall(r"[\d.]+", group[1].get("transform"))
            found[title.text] = (float(x), float(y))
    return found


def test_a_degree_of_longitude_is_shrunk_by_the_cosine_of_the_middle_latitude():
    """Equirectangular projection with true scale at the middle latitude (Snyder, Map
    Projections: A Working Manual, USGS Professional Paper 1395, 1987, chapter 12).
    """
    places = SiteMap(
        tuple(
            SitePoint(f"P{i}", "", lon, lat)
            for i, (lon, lat) in enumerate(
                [(-107, 59.5), (-106, 59.5), (-107, 60.5), (-106, 60.5)]
            )
        )
    )
    at = points_of(ET.fromstring(site_map_svg(places)))
    west, east, north = (at[f"P{i}: no data"] for i in (0, 1, 2))
    across, up = east[0] - west[0], west[1] - north[1]
    assert up > 0  # north is up
    assert across / up == pytest.approx(math.cos(math.radians(60.0)), abs=2e-3)


def test_each_site_is_a_titled_mark_and_a_link_where_it_has_an_address():
    places = SiteMap(
        (
            SitePoint("OV-001", "Route 9", -107.0, 40.0, "act", "/sites/OV-001/"),
            SitePoint("OV-002", "", -106.5, 39.5, "sound"),
        ),
        read_outline(POLYGON),
    )
    root = ET.fromstring(site_map_svg(places))
    (link,) = root.iter(f"{SVG}a")
    assert link.get("href") == "/sites/OV-001/"
    assert link.findtext(f"{SVG}title") == "OV-001 Route 9: act"
    assert "OV-002: sound" in points_of(root)
    assert root.get("aria-label", "").endswith("1 act, 1 sound; the table lists them")
    assert next(root.iter(f"{SVG}path")).get("fill-rule") == "evenodd"


def test_nothing_to_place_says_so():
    text = site_map_svg(SiteMap(()))
    assert "No site has coordinates yet" in text
    ET.fromstring(text)


def test_one_site_alone_is_drawn_in_the_middle():
    places = SiteMap((SitePoint("OV-001", "", -107.0, 40.0),))
    root = ET.fromstring(site_map_svg(places))
    x, _ = points_of(root)["OV-001: no data"]
    assert x == pytest.approx(280, abs=40)
    assert float(root.get("viewBox", "").split()[3]) < 900


def test_labels_never_overlap_and_the_worst_condition_keeps_its_own():
    crowd = tuple(
        SitePoint(
            f"OV-{i:03}", "", -107.0 + i * 1e-4, 40.0, "act" if i == 5 else "sound"
        )
        for i in range(12)
    )
    far = (SitePoint("OV-099", "", -105.0, 41.0, "sound"),)
    root = ET.fromstring(site_map_svg(SiteMap(crowd + far)))
    labels = [t.text for t in root.iter(f"{SVG}text")]
    assert "OV-005" in labels
    assert len(labels) < 13
    assert len(points_of(root)) == 13


def test_names_are_escaped():
    places = SiteMap(
        (SitePoint("<b>", '"&', -107.0, 40.0, "sound", '/x"onclick="y'),),
        read_outline(feature({"type": "LineString", "coordinates": SQUARE[:2]},
                             name="<script>")),
        title="<i>",
    )  # fmt: skip
    text = site_map_svg(places)
    ET.fromstring(text)
    assert "<b>" not in text
    assert "<script>" not in text
    assert '"onclick="' not in text
