"""The map of the sites: the agency's outline and a mark for each site, as SVG.

Pure: no Django, no tiles, no network. The outline is GeoJSON (RFC 7946): positions are
longitude, latitude in degrees. The projection is equirectangular with longitudes
shrunk by the cosine of the middle latitude, which keeps shapes right for an area the
size of a state or province.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Condition
from wimprog.lib.marks import mark_shape
from wimprog.lib.svg import short, text_of

Position = tuple[float, float]
_REMEDY = (
    "Export the outline as GeoJSON in longitude and latitude (WGS 84), with Polygon, "
    "MultiPolygon, LineString or MultiLineString features."
)


@dataclass(frozen=True)
class SitePoint:
    """One site on the map; ``condition`` is the worst of its lanes."""

    code: str
    name: str
    longitude: float
    latitude: float
    condition: str = Condition.NO_DATA
    url: str = ""


@dataclass(frozen=True)
class OutlineLine:
    """A ring (closed, with its holes told apart by winding) or an open line."""

    positions: tuple[Position, ...]
    closed: bool
    name: str = ""


@dataclass(frozen=True)
class SiteMap:
    """Everything the map shows."""

    points: tuple[SitePoint, ...]
    lines: tuple[OutlineLine, ...] = ()
    title: str = "Map of the sites"
    width: int = 560


def _refuse(message: str, *, field: str, value: object, expected: str) -> DomainError:
    complaint = Complaint(
        message, field=field, value=str(value)[:60], expected=expected, remedy=_REMEDY
    )
    return DomainError(f"The outline cannot be drawn. {complaint}", (complaint,))


def _position(raw: Any, where: str) -> Position:
    numbers = isinstance(raw, list | tuple) and len(raw) >= 2
    numbers = numbers and all(
        isinstance(v, int | float) and not isinstance(v, bool) for v in raw[:2]
    )
    if not numbers:
        raise _refuse(
            "a position is not a pair of numbers.",
            field=where,
            value=raw,
            expected="[longitude, latitude] in degrees",
        )
    lon, lat = float(raw[0]), float(raw[1])
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):  # also refuses NaN
        raise _refuse(
            "a position is not on the globe; the file may be in projected metres, or "
            "have latitude before longitude.",
            field=where,
            value=raw,
            expected="longitude −180 to 180, latitude −90 to 90",
        )
    return lon, lat


def _positions(raw: Any, where: str, least: int) -> tuple[Position, ...]:
    if not isinstance(raw, list) or len(raw) < least:
        raise _refuse(
            f"it needs at least {least} positions.",
            field=where,
            value=raw,
            expected=f"a list of {least} or more [longitude, latitude] pairs",
        )
    return tuple(_position(p, f"{where}[{i}]") for i, p in enumerate(raw))


def _list(raw: Any, where: str) -> list[Any]:
    if not isinstance(raw, list):
        raise _refuse("a list is missing.", field=where, value=raw, expected="a list")
    return raw


def _geometry(raw: Any, where: str, name: str) -> Iterator[OutlineLine]:
    kind = raw.get("type") if isinstance(raw, dict) else None
    if kind == "GeometryCollection":
        for i, part in enumerate(_list(raw.get("geometries"), f"{where}.geometries")):
            yield from _geometry(part, f"{where}.geometries[{i}]", name)
        return
    inner = f"{where}.coordinates"
    coordinates = raw.get("coordinates") if isinstance(raw, dict) else None
    if kind == "Polygon":
        polygons = [(inner, coordinates)]
    elif kind == "MultiPolygon":
        parts = enumerate(_list(coordinates, inner))
        polygons = [(f"{inner}[{i}]", part) for i, part in parts]
    elif kind == "LineString":
        yield OutlineLine(_positions(coordinates, inner, 2), False, name)
        return
    elif kind == "MultiLineString":
        for i, part in enumerate(_list(coordinates, inner)):
            yield OutlineLine(_positions(part, f"{inner}[{i}]", 2), False, name)
        return
    elif kind in ("Point", "MultiPoint"):
        return  # points are the sites' business
    else:
        raise _refuse(
            "this is not a GeoJSON geometry.",
            field=f"{where}.type",
            value=kind,
            expected="Polygon, MultiPolygon, LineString or MultiLineString",
        )
    for at, rings in polygons:
        for i, ring in enumerate(_list(rings, at)):
            yield OutlineLine(_positions(ring, f"{at}[{i}]", 4), True, name)


def read_outline(geojson: Any) -> tuple[OutlineLine, ...]:
    """Rings and lines of a GeoJSON outline.

    Parameters
    ----------
    geojson
        Parsed JSON: a FeatureCollection, a Feature or a geometry. None is no outline.

    Raises
    ------
    DomainError
        When it is not GeoJSON that can be drawn; the complaint names the place.
    """
    if geojson is None:
        return ()
    if not isinstance(geojson, dict):
        raise _refuse(
            "the file does not hold a GeoJSON object.",
            field="type",
            value=geojson,
            expected="an object with a type, such as FeatureCollection",
        )
    kind = geojson.get("type")
    if kind == "FeatureCollection":
        features = _list(geojson.get("features"), "features")
        named = [(f"features[{i}]", f) for i, f in enumerate(features)]
    elif kind == "Feature":
        named = [("feature", geojson)]
    else:
        return tuple(_geometry(geojson, "geometry", ""))
    lines: list[OutlineLine] = []
    for where, feature in named:
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            raise _refuse(
                "this is not a GeoJSON feature.",
                field=where,
                value=feature,
                expected='an object with "type": "Feature"',
            )
        if feature.get("geometry") is None:
            continue  # RFC 7946, 3.2: an unlocated feature
        properties = feature.get("properties")
        name = properties.get("name", "") if isinstance(properties, dict) else ""
        lines += _geometry(feature["geometry"], f"{where}.geometry", str(name or ""))
    return tuple(lines)


class _Projection:
    """Degrees to the drawing's units."""

    def __init__(self, positions: Sequence[Position], width: int, margin: int) -> None:
        lons = [p[0] for p in positions]
        lats = [p[1] for p in positions]
        self.west, east = min(lons), max(lons)
        south, self.north = min(lats), max(lats)
        self.shrink = max(0.05, math.cos(math.radians((south + self.north) / 2)))
        across = max((east - self.west) * self.shrink, 1e-6)
        down = max(self.north - south, 1e-6)
        if max(across, down) < 0.02:  # one site, or all at one place: about 2 km
            grow = 0.01
            self.west -= grow / self.shrink
            self.north += grow
            across += 2 * grow
            down += 2 * grow
        inner = width - 2 * margin
        self.scale = min(inner / across, inner * 1.1 / down)
        self.left = margin + (inner - across * self.scale) / 2
        self.margin = margin
        self.height = math.ceil(down * self.scale + 2 * margin)

    def __call__(self, position: Position) -> tuple[float, float]:
        x = self.left + (position[0] - self.west) * self.shrink * self.scale
        y = self.margin + (self.north - position[1]) * self.scale
        return x, y


def _line_d(line: OutlineLine, project: _Projection) -> str:
    points = [tuple(short(v) for v in project(p)) for p in line.positions]
    kept = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
    return "M" + "L".join(f"{x} {y}" for x, y in kept) + ("z" if line.closed else "")


def _label_spots(
    placed: Sequence[tuple[SitePoint, float, float]], width: int
) -> dict[str, tuple[float, float, str]]:
    """Where each code is lettered so that it meets no other; left out where it would.

    Worst conditions choose first, so that a crowded map loses sound sites' codes.
    """
    boxes = [(x - 8, y - 8, x + 8, y + 8) for _, x, y in placed]
    order = [c.value for c in Condition]
    spots: dict[str, tuple[float, float, str]] = {}
    for point, x, y in sorted(placed, key=lambda p: order.index(str(p[0].condition))):
        wide = 7.4 * len(point.code)
        own = (x - 8, y - 8, x + 8, y + 8)
        for dx, dy, anchor in (
            (11, 4, "start"), (-11, 4, "end"), (0, -12, "middle"), (0, 20, "middle")
        ):  # fmt: skip
            lead = {"start": 0.0, "end": -wide, "middle": -wide / 2}[anchor]
            box = (x + dx + lead, y + dy - 10, x + dx + lead + wide, y + dy + 3)
            clear = box[0] >= 0 and box[2] <= width
            clear = clear and not any(
                b is not own and b != own
                and box[0] < b[2] and b[0] < box[2]
                and box[1] < b[3] and b[1] < box[3]
                for b in boxes
            )  # fmt: skip
            if clear:
                boxes.append(box)
                spots[point.code] = (x + dx, y + dy, anchor)
                break
    return spots


def site_map_svg(places: SiteMap) -> str:
    """The map as one SVG element; each site is a link when it has an address.

    Nothing to place gives a small drawing that says so.
    """
    every = [(p.longitude, p.latitude) for p in places.points]
    every += [position for line in places.lines for position in line.positions]
    width = places.width
    opening = '<svg xmlns="http://www.w3.org/2000/svg" class="site-map" width="100%" '
    if not every:
        return (
            f'{opening}viewBox="0 0 {width} 120" font-size="13" fill="currentColor" '
            f'role="img" aria-label="{text_of(places.title)}: no site has coordinates">'
            f'<text x="{width // 2}" y="64" text-anchor="middle">No site has '
            "coordinates yet</text></svg>"
        )
    project = _Projection(every, width, margin=34)
    closed = "".join(_line_d(line, project) for line in places.lines if line.closed)
    drawn = ""
    if closed:
        drawn += (
            f'<path d="{closed}" fill="currentColor" fill-opacity=".045" '
            'fill-rule="evenodd" stroke="currentColor" stroke-opacity=".45" '
            'stroke-width="1.2" stroke-linejoin="round"/>'
        )
    for line in places.lines:
        if not line.closed:
            title = f"<title>{text_of(line.name)}</title>" if line.name else ""
            drawn += (
                f'<path d="{_line_d(line, project)}" fill="none" stroke="currentColor" '
                f'stroke-opacity=".3" stroke-width="1.6">{title}</path>'
            )
    placed = [
        (point, *project((point.longitude, point.latitude))) for point in places.points
    ]
    spots = _label_spots(placed, width)
    for point, x, y in placed:
        about = f"{point.code} {point.name}".strip()
        body = (
            f"<title>{text_of(f'{about}: {point.condition}')}</title>"
            f'<g transform="translate({short(x)} {short(y)})">'
            '<circle r="14" fill="#fff" fill-opacity="0"/><g stroke-linejoin="round">'
            f"{mark_shape(point.condition)}</g></g>"
        )
        if point.code in spots:
            tx, ty, anchor = spots[point.code]
            body += (
                f'<text x="{short(tx)}" y="{short(ty)}" text-anchor="{anchor}" '
                'stroke="#fff" stroke-width="3" paint-order="stroke">'
                f"{text_of(point.code)}</text>"
            )
        if point.url:
            drawn += f'<a href="{text_of(point.url)}">{body}</a>'
        else:
            drawn += f"<g>{body}</g>"
    counts = {
        c.value: sum(str(p.condition) == c.value for p in places.points)
        for c in Condition
    }
    told = ", ".join(f"{n} {word}" for word, n in counts.items() if n)
    label = f"{places.title}: {told or 'no sites'}; the table lists them"
    return (
        f'{opening}viewBox="0 0 {width} {project.height}" font-size="12" '
        f'fill="currentColor" role="group" aria-label="{text_of(label)}">{drawn}</svg>'
    )
