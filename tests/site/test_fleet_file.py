"""``fleet.csv``: positions, headings, windows, attachments, as people write them."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from greaseroute.site.files.fleet_csv import read_fleet

BERLIN = ZoneInfo("Europe/Berlin")


def _read(text, system="local metres"):
    return read_fleet(text, "fleet.csv", system=system, where=BERLIN)


def _one(header, row, system="local metres"):
    rows, faults = _read(f"{header}\n{row}\n", system)
    assert faults == []
    (unit,) = rows.units
    return unit


def test_defaults_of_a_bare_row():
    unit = _one("unit,type,x_m,y_m,heading_deg,meter_h", "A,t,1,2,90,10")
    assert (unit.posture, unit.slew_deg, unit.hours_per_day) == ("parked", 0.0, 8.0)
    assert (unit.severity, unit.attachments, unit.line) == (None, (), 2)


def test_columns_in_any_order_with_decimal_commas():
    unit = _one("meter_h;unit;type;heading_deg;y_m;x_m", "1234,5;A;t;90;2,25;1,5")
    assert (unit.x_m, unit.y_m, unit.meter_h) == (1.5, 2.25, 1234.5)


def test_full_circle_is_north():
    assert _one("unit,type,x_m,y_m,heading_deg,meter_h", "A,t,1,2,360,10").heading_deg == 0.0


def test_fleet_numbers_stay_text():
    assert _one("unit,type,x_m,y_m,heading_deg,meter_h", "0103,t,1,2,0,10").unit == "0103"


def test_attachments_are_a_list():
    header = "unit;type;x_m;y_m;heading_deg;meter_h;attachments"
    unit = _one(header, "A;t;1;2;0;10;quick hitch + breaker")
    assert unit.attachments == ("quick hitch", "breaker")


def test_windows_daily_or_dated():
    header = "unit,type,x_m,y_m,heading_deg,meter_h,parked_from,parked_to"
    unit = _one(header, "A,t,1,2,0,10,18:30,2026-03-03 06:00")
    assert (unit.parked_from, unit.parked_from_clock) == (None, time(18, 30))
    assert unit.parked_to == datetime(2026, 3, 3, 6, tzinfo=BERLIN)
    assert unit.parked_to_clock is None


def test_lon_and_lat_columns():
    unit = _one("unit,type,lon,lat,heading_deg,meter_h", "A,t,6.2,55.3,0,10", "lon/lat")
    assert (unit.x_m, unit.y_m) == (6.2, 55.3)  # still as in the file; the folder projects them


def test_both_pairs_of_columns_the_right_one_is_taken():
    header = "unit,type,x_m,y_m,lon,lat,heading_deg,meter_h"
    assert _one(header, "A,t,1,2,6.2,55.3,0,10").x_m == 1.0
    assert _one(header, "A,t,1,2,6.2,55.3,0,10", "lon/lat").x_m == 6.2


def test_the_columns_of_another_system_are_one_fault():
    _, faults = _read("unit,type,x_m,y_m,heading_deg,meter_h\nA,t,1,2,0,10\n", "lon/lat")
    assert [str(f) for f in faults] == [
        "fleet.csv:1: header: columns = 'x_m, y_m'; allowed: lon, lat, since site.toml says "
        "'lon/lat'; rename the columns, or correct the coordinates in site.toml"
    ]


def test_latitude_out_of_range_looks_swapped():
    _, faults = _read("unit,type,lon,lat,heading_deg,meter_h\nA,t,20,120,0,10\n", "lon/lat")
    assert [(f.field, f.value, f.do) for f in faults] == [
        ("lon, lat", "20, 120", "they look swapped: exchange them")
    ]


def test_every_mistake_of_a_row_and_every_row():
    text = "unit,type,x_m,y_m,heading_deg,meter_h\nA,t,one,2,400,-1\nB,,1,2,0,10\n"
    rows, faults = _read(text)
    assert rows.units == ()
    assert rows.named == ("A", "B")
    assert [(f.line, f.field, f.value) for f in faults] == [
        (2, "x_m", "one"),
        (2, "heading_deg", "400"),
        (2, "meter_h", "-1"),
        (3, "type", "nothing"),
    ]


def test_a_fleet_without_units():
    _, faults = _read("unit,type,x_m,y_m,heading_deg,meter_h\n")
    assert [(f.value, f.allowed) for f in faults] == [("no rows", "at least one unit")]
