"""The shared options and the moment planned for."""

import argparse
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from greaseroute.cli.options import add_options, at_moment
from greaseroute.site.morning import moment_for, next_round_start
from tests.cards import sample

EAST = ZoneInfo("Etc/GMT-1")  # the zone of the sample site, one hour ahead of UTC


def test_every_shared_option_parses():
    parser = argparse.ArgumentParser()
    add_options(parser, "site", "at", "out", "seed", "limit_s", "format")
    got = parser.parse_args(
        [
            *("yard", "--at", "2031-03-04T05:30", "--out", "o"),
            *("--seed", "7", "--limit-s", "2.5", "--format", "json"),
        ]
    )
    assert (str(got.site), str(got.out), got.seed, got.limit_s, got.format) == (
        "yard",
        "o",
        7,
        2.5,
        "json",
    )
    assert got.at == datetime(2031, 3, 4, 5, 30)


def test_defaults():
    parser = argparse.ArgumentParser()
    add_options(parser, "at", "seed", "limit_s", "format")
    got = parser.parse_args([])
    assert (got.at, got.seed, got.limit_s, got.format) == (None, 1, None, "text")


def test_a_moment_without_offset_is_site_time():
    got = moment_for(sample.site(), at_moment("2031-03-04T05:30"))
    assert got.isoformat() == "2031-03-04T05:30:00+01:00"


def test_a_moment_with_an_offset_is_told_in_site_time():
    got = moment_for(sample.site(), at_moment("2031-03-04T05:30+00:00"))
    assert got.isoformat() == "2031-03-04T06:30:00+01:00"  # one hour further east


def test_planned_for_stands_in_for_at():
    from dataclasses import replace

    planned = datetime(2031, 3, 5, 4, 30, tzinfo=UTC)
    got = moment_for(replace(sample.site(), planned_for=planned), None)
    assert got.isoformat() == "2031-03-05T05:30:00+01:00"


@pytest.mark.parametrize(
    ("now", "start"),
    [
        ("2031-03-04T05:29:59", "2031-03-04T05:30:00"),
        ("2031-03-04T05:30:00", "2031-03-04T05:30:00"),
        ("2031-03-04T05:30:01", "2031-03-05T05:30:00"),
        ("2031-12-31T23:00:00", "2032-01-01T05:30:00"),
    ],
)
def test_next_round_start_is_the_first_at_or_after_now(now, start):
    here = datetime.fromisoformat(now).replace(tzinfo=EAST)
    got = next_round_start(here, round_start="05:30")
    assert got.replace(tzinfo=None) == datetime.fromisoformat(start)


def test_without_any_moment_the_clock_is_read_in_site_time():
    # 04:00 UTC is 05:00 on the site, half an hour before its round starts.
    now = datetime(2031, 3, 4, 4, 0, tzinfo=timezone(timedelta(0)))
    assert moment_for(sample.site(), None, now=now).isoformat() == "2031-03-04T05:30:00+01:00"
