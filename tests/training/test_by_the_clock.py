"""The learner's walk keeps the hours of a round: parked machines, crossings, the shift's start."""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import permutations, product
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.errors import UnknownName
from greaseroute.rounds.given_order import Errand, ready_walk
from greaseroute.site.folder import read_site
from greaseroute.site.moment import time_of_day
from greaseroute.site.morning import moment_for
from greaseroute.training.candidates import candidates
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing, ready_day
from greaseroute.training.first_day import longer_ms, plan_first_day
from greaseroute.units import MS_PER_S, S_PER_MIN
from tests.site_maker import write_random_site

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"


@pytest.fixture(scope="module")
def yard():
    return read_site(YARD)


def _parked(site, **clocks):
    """The site with hours of units: RB-1=(None, "05:05")."""
    units = []
    for unit in site.units:
        begin, end = clocks.get(unit.unit.replace("-", "_"), (None, None))
        units.append(
            unit.model_copy(
                update={
                    "parked_from_clock": begin and time_of_day(begin),
                    "parked_to_clock": end and time_of_day(end),
                }
            )
        )
    return replace(site, units=tuple(units))


def _day(site, **settings):
    at = moment_for(site, None)
    return plan_first_day(site, at, pair=pairing(site), settings=DaySettings(**settings))


def _moment(text):
    return datetime.fromisoformat(text)


def test_no_machine_is_met_after_it_has_left(yard):
    """RB-1 leaves at 05:05, before anybody could be done with it."""
    day = _day(_parked(yard, RB_1=(None, "05:05")))
    assert {stop.unit for stop in _day(yard).stops} >= {"RB-1"}
    assert day.stops
    assert "RB-1" not in {stop.unit for stop in day.stops}


def test_a_machine_that_leaves_soon_is_met_in_time_and_marked(yard):
    """RB-1 leaves at 05:10; easy before hard it would still be worked on, so the order goes."""
    late = next(s for s in _day(yard).stops if s.unit == "RB-1")
    assert late.leave[11:19] > "05:09:30"
    day = _day(_parked(yard, RB_1=(None, "05:10")))
    (stop,) = [s for s in day.stops if s.unit == "RB-1"]
    assert _moment(stop.leave) <= _moment(stop.released)
    assert stop.released[11:19] == "05:10:00"
    assert day.choice.covered == 3


def test_a_machine_that_comes_later_is_waited_for(yard):
    day = _day(_parked(yard, RB_1=("05:40", None)))
    (stop,) = [s for s in day.stops if s.unit == "RB-1"]
    begin = _moment(stop.arrive) + timedelta(seconds=stop.wait_s)
    assert begin.strftime("%H:%M:%S") == "05:40:00"


def test_the_day_ends_when_the_shift_starts_whatever_window_is_asked_for(yard):
    short = replace(yard, shift_start="05:10")
    day = _day(short, window_min=300)
    assert day.stops
    assert _moment(day.finish) <= _moment(day.shift_start)
    assert day.window_min == 10.0
    assert any("the shift starts at 05:10" in note for note in day.notes)


def test_never_fewer_pairs_with_more_minutes(yard):
    covered = [_day(yard, window_min=m).choice.covered for m in (3, 5, 6, 7, 8, 9, 10, 12, 14, 20)]
    assert covered == sorted(covered)
    assert len(set(covered)) == 4  # 0, 1, 2 and 3 pairs: every step is taken


def every_walk(site, at, *, curve_settings):
    """Pairs met and finish of every choice of joints (one of a pair) in every order of machines,
    each prepared alone: nothing of the search is used."""
    pair = pairing(site)
    found = candidates(site, at, learner=pair.learner)
    day = ready_day(site, at, pair, settings=curve_settings)
    pairs = {}
    for c in found:
        pairs.setdefault(c.pair, []).append(c)
    for pick in product(*([None, *each] for each in pairs.values())):
        chosen = [c for c in pick if c is not None]
        if not chosen:
            continue
        errand = Errand(pair.learner.name, at, tuple(c.work.due for c in chosen))
        walk = ready_walk(site, errand)
        wanted = {(c.unit, c.work.joint.name) for c in chosen}
        if not wanted <= {(u, j) for u, joints in walk.reachable.items() for j in joints}:
            continue
        for units in permutations(dict.fromkeys(c.unit for c in chosen)):
            lessons = {u: [c for c in chosen if c.unit == u] for u in units}
            done = walk.in_order(units, longer_ms(day, lessons))
            if done is not None:
                yield len(chosen), done[0].finish_ms


def as_good_as_every_walk(site, windows_min):
    """Whether the first day meets as many pairs as any walk, at each window; the pairs met."""
    at, settings = moment_for(site, None), DaySettings()
    walks = list(every_walk(site, at, curve_settings=settings))
    met = []
    for window in windows_min:
        day = _day(site, window_min=window)
        start = _moment(day.round.technicians[0].start) - _moment(day.at)
        limit = start.total_seconds() * MS_PER_S + 60 * MS_PER_S * min(window, day.window_min)
        best = max((n for n, finish in walks if finish <= limit), default=0)
        met.append((day.choice.covered, best))
    return met


@pytest.mark.parametrize("leaves", [None, "05:08"])
def test_as_many_pairs_as_any_walk_of_the_yard(yard, leaves):
    site = _parked(yard, RB_1=(None, leaves)) if leaves else yard
    met = as_good_as_every_walk(site, (4, 6, 8, 10, 13, 60))
    assert [a for a, _ in met] == [b for _, b in met]
    assert len({a for a, _ in met}) > 2


def test_on_a_random_site_everybody_stands_and_all_is_in_time(tmp_path):
    site = read_site(write_random_site(tmp_path / "s", 5))
    day = _day(site, window_min=60)
    assert day.stops
    assert day.choice.covered <= day.choice.wanted
    assert day.learner_min <= 60 + 0.05
    spent = sum(each.learner_s - each.standard_s for s in day.stops for each in s.lessons)
    assert day.learner_min * S_PER_MIN > spent


def test_nobody_learns_from_himself(tmp_path):
    site = read_site(write_random_site(tmp_path / "s", 5))
    name = site.technicians[0].name
    with pytest.raises(UnknownName, match="who is the learner"):
        pairing(site, learner=name, mentor=name)


def test_a_window_of_no_minutes_is_refused_as_minutes(tmp_path, capsys):
    code = entry(["first-day", str(YARD), "--out", str(tmp_path), "--window-min", "0"])
    assert code == 2
    assert "'0' is not a number of minutes above 0" in capsys.readouterr().err
