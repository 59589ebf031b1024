"""The cheap test of grease against want, and that it never refuses what the dose would take."""

from itertools import product

import pytest

from greaseroute.catalogue.joint import GreaseWant
from greaseroute.dose.matching import fits
from greaseroute.site.crew import Grease
from greaseroute.site.grease_fit import misfit

EP2 = Grease(name="EP 2", nlgi="2", thickener="lithium complex")
MOLY2 = Grease(name="moly 2", nlgi="NLGI 2", thickener="Li-cx", moly=True)


@pytest.mark.parametrize(
    ("want", "grease", "words"),
    [
        (GreaseWant(), EP2, ""),
        (GreaseWant(nlgi=("1", "2")), EP2, ""),
        (GreaseWant(nlgi=("NLGI 2",)), EP2, ""),
        (GreaseWant(nlgi=("0", "1")), EP2, "wants NLGI 0 or 1, not 2"),
        (GreaseWant(thickener="Li-cx"), EP2, ""),
        (GreaseWant(thickener="lithium complex soap"), MOLY2, ""),
        (GreaseWant(thickener="calcium"), EP2, "wants calcium, not lithium complex"),
        (GreaseWant(moly=True), MOLY2, ""),
        (GreaseWant(moly=True), EP2, "wants moly"),
        (GreaseWant(moly=False), MOLY2, "must be free of moly"),
        (GreaseWant(code="KP2K-30"), EP2, "wants KP2K-30, carries no code"),
        (GreaseWant(code="KP2K-30"), EP2.model_copy(update={"code": "KP2K-20"}), ""),
    ],
)
def test_each_rule_alone(want, grease, words):
    assert misfit(want, grease) == words


def test_what_is_refused_here_is_refused_by_the_dose_as_well():
    # 3 x 3 x 3 wants against 3 x 3 x 2 greases: all told, both ways round where no code is asked.
    wants = product(
        [(), ("2",), ("0", "1")], [None, "lithium", "lithium complex"], [None, True, False]
    )
    kept = list(product(["0", "1", "2"], ["lithium", "lithium complex", "calcium"], [True, False]))
    for nlgi, thickener, moly in wants:
        want = GreaseWant(nlgi=nlgi, thickener=thickener, moly=moly)
        for grade, soap, has_moly in kept:
            grease = Grease(name="g", nlgi=grade, thickener=soap, moly=has_moly)
            assert (misfit(want, grease) == "") == fits(want, grease).ok, (want, grease)
