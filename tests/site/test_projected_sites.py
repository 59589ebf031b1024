"""The same yard in local metres, in lon/lat and on a grid is the same yard."""

import json

import numpy as np
import pytest

from greaseroute.site.folder import gather, read_site
from greaseroute.site.geodesy import local_plane
from tests.site.planting import GOOD, good_copy, plant

ANCHOR = (6.2, 55.3)  # out at sea


def _rewritten(tmp_path, system, to_source, columns):
    """The good site with every position written in another system."""
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", '"local metres"', f'"{system}"')
    path = folder / "ground.geojson"
    data = json.loads(path.read_text(encoding="utf-8"))
    for feature in data["features"]:
        geometry = feature["geometry"]
        geometry["coordinates"] = _walk(geometry["coordinates"], to_source)
    path.write_text(json.dumps(data), encoding="utf-8")
    path = folder / "fleet.csv"
    header, *rows = path.read_text(encoding="utf-8").splitlines()
    lines = [header.replace("x_m,y_m", columns)]
    for row in rows:
        cells = row.split(",")
        cells[2:4] = [repr(c) for c in to_source(float(cells[2]), float(cells[3]))]
        lines.append(",".join(cells))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def _walk(coordinates, to_source):
    if isinstance(coordinates[0], list):
        return [_walk(c, to_source) for c in coordinates]
    return [*to_source(*coordinates[:2]), *coordinates[2:]]


def _lonlat(x, y):
    # The boundary is 120 m x 80 m: its centroid is brought near the anchor.
    plane = local_plane("lon/lat", ANCHOR)
    return tuple(float(v) for v in plane.to_source(np.array([[x - 60.0, y - 40.0]]))[0])


def _utm(x, y):
    # On the central meridian of zone 31 (3 deg E) the grid is 0.9996 of the ground.
    return (500_000.0 + 0.9996 * x, 6_100_000.0 + 0.9996 * y)


def _spacing(site):
    at = np.array([(u.x_m, u.y_m) for u in site.units])
    at = np.vstack([at, [(p.point.x, p.point.y) for p in site.ground.places]])
    return np.hypot(*(at[:, None] - at[None, :]).transpose(2, 0, 1))


@pytest.mark.parametrize(
    ("system", "to_source", "columns"),
    [("lon/lat", _lonlat, "lon,lat"), ("EPSG:32631", _utm, "x_m,y_m")],
)
def test_the_yard_keeps_its_metres(tmp_path, system, to_source, columns):
    site = read_site(_rewritten(tmp_path, system, to_source, columns))
    here = read_site(GOOD)
    assert np.abs(_spacing(site) - _spacing(here)).max() < 1e-4
    # Road 120 m x 10 m and crossing 12 m x 3 m: widths stay metres.
    assert site.ground.haul_roads[0].polygon.area == pytest.approx(1200, rel=1e-5)
    assert site.ground.crossings[0].polygon.area == pytest.approx(36, rel=1e-5)
    assert site.ground.gates[0].opening.length == pytest.approx(2, abs=1e-9)
    assert site.origin_lonlat is not None
    # The heights of spot heights are left alone.
    assert site.ground.spot_heights[0][2] == 101.5


def test_a_unit_with_exchanged_lon_and_lat(tmp_path):
    folder = _rewritten(tmp_path, "lon/lat", _lonlat, "lon,lat")
    rows = (folder / "fleet.csv").read_text(encoding="utf-8").splitlines()
    cells = rows[2].split(",")
    plant(folder, "fleet.csv", f"{cells[2]},{cells[3]}", f"{cells[3]},{cells[2]}")
    (fault,) = gather(folder)[1]
    assert (fault.line, fault.field) == (3, "lon, lat")
    assert fault.do == "the two look swapped: exchange them"


@pytest.mark.parametrize(
    ("system", "words"),
    [
        ("lon/lat", "lon/lat: the boundary is 1.41e+07 m wide"),
        ("EPSG:4979", None),
    ],
)
def test_metres_taken_for_degrees_are_told_once(tmp_path, system, words):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", '"local metres"', f'"{system}"')
    told = [f for f in gather(folder)[1] if f.file == "site.toml"]
    assert [f.field for f in told] == ["coordinates"]
    assert words is None or told[0].value == words


def test_degrees_taken_for_metres_are_told_once(tmp_path):
    folder = _rewritten(tmp_path, "lon/lat", _lonlat, "lon,lat")
    plant(folder, "site.toml", '"lon/lat"', '"local metres"')
    told = [(f.file, f.field) for f in gather(folder)[1]]
    assert told == [("fleet.csv", "columns"), ("site.toml", "coordinates")]
