"""Stands, visits and walks are the same, whoever of several processes worked them out."""

import os
from pathlib import Path

import numpy as np
import pytest

from greaseroute import processes as side_by_side
from greaseroute.rounds.prepare import Outlook, Prepared, prepare
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.model import Site

HARBOUR = Path(__file__).parents[2] / "sites_demo" / "harbour_skarnholm"


@pytest.fixture(scope="module")
def harbour() -> Site:
    return read_site(HARBOUR)


def prepared(site: Site) -> Prepared:
    assert site.planned_for is not None
    return prepare(site, RoundRequest(site.planned_for, with_looks=True), progress=lambda _: None)


def told(outlook: Outlook) -> list[object]:
    """All that a plan is made of, without the objects that are compared by identity."""
    return [
        [(u, s.reach.now, s.reach.stands, s.reach.clear.tolist(), s.elsewhere)
         for u, s in outlook.surveyed.items()],
        [(u, v.items, v.nodes, v.ways, v.slack_ms, v.fixed_ms, v.turn_ms, v.postures, v.loss)
         for u, v in outlook.visits.items()],
        [v.walks.ms.tolist() for v in outlook.visits.values()],
        [v.walks.line(0, len(v.nodes) - 1) for v in outlook.visits.values()],
        outlook.row,
    ]  # fmt: skip


@pytest.mark.skipif(not hasattr(os, "fork"), reason="copies are forked")
def test_two_processes_find_what_one_finds(harbour: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    forked: list[int] = []
    fork = os.fork

    def counted() -> int:
        forked.append(1)
        return fork()

    monkeypatch.setattr(os, "fork", counted)
    monkeypatch.setattr(side_by_side, "cores", lambda: 1)
    alone = prepared(harbour)
    assert not forked
    monkeypatch.setattr(side_by_side, "cores", lambda: 2)
    monkeypatch.setattr(side_by_side, "THREADED_LIBRARIES", ())
    shared = prepared(harbour)
    assert len(forked) == 2  # for the postures, and for stands and visits
    for one, other in zip(alone.outlooks, shared.outlooks, strict=True):
        assert told(one) == told(other)
        assert all(np.array_equal(a, b) for a, b in zip(one.walks.ms, other.walks.ms, strict=True))
        # what the copies answered hangs on the same works, not on copies of them
        works = {work.unit.unit: work for work in other.works}
        assert all(visit.work is works[unit] for unit, visit in other.visits.items())
    assert alone.left == shared.left
