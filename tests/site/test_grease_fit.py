"""Each rule by which a grease is refused for a joint, alone and together."""

import pytest

from greaseroute.catalogue.joint import GreaseWant
from greaseroute.site.crew import Grease
from greaseroute.site.grease_fit import misfits

EP2 = Grease(name="EP 2", nlgi="2", thickener="lithium complex")
MOLY2 = Grease(name="moly 2", nlgi="NLGI 2", thickener="Li-cx", moly=True)


@pytest.mark.parametrize(
    ("want", "grease", "reasons"),
    [
        (GreaseWant(), EP2, []),
        (GreaseWant(nlgi=("1", "2")), EP2, []),
        (GreaseWant(nlgi=("NLGI 2",)), EP2, []),
        (GreaseWant(nlgi=("0", "1")), EP2, ["wants NLGI 0 or 1, this is 2"]),
        (GreaseWant(thickener="Li-cx"), EP2, []),
        (GreaseWant(thickener="lithium complex soap"), MOLY2, []),
        (GreaseWant(thickener="calcium"), EP2, ["wants calcium, this is lithium complex"]),
        (GreaseWant(moly=True), MOLY2, []),
        (GreaseWant(moly=True), EP2, ["wants moly, this has none"]),
        (GreaseWant(moly=False), MOLY2, ["must have no moly, this has it"]),
        (GreaseWant(code="KP2K-30"), EP2, ["wants KP2K-30, this carries no code"]),
        (GreaseWant(code="KP2K-20"), EP2.model_copy(update={"code": "KP2K-30"}), []),
        (
            GreaseWant(code="KP2K-30"),
            EP2.model_copy(update={"code": "KP2K-20"}),
            ["wants service down to -30 C, this gives -20 limit"],
        ),
        (
            GreaseWant(nlgi=("1",), moly=True),
            EP2,
            ["wants NLGI 1, this is 2", "wants moly, this has none"],
        ),
    ],
)
def test_each_rule_alone_and_all_that_apply_together(want, grease, reasons):
    assert misfits(want, grease) == reasons
