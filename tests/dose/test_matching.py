"""Which grease fits which want, which gun is taken, and what may be mixed."""

import pytest

from greaseroute.catalogue.grease_code import parse_code, thickener_word
from greaseroute.catalogue.joint import Dose, Fitting, GreaseWant, Interval, Joint
from greaseroute.dose.matching import NoGun, fits, gun_for
from greaseroute.site.crew import Grease, Gun
from greaseroute.site.mixing import mix_greases, mix_thickeners

EP2 = Grease(name="EP2", nlgi="2", thickener="lithium", code="KP2K-30")
MOLY = Grease(name="Moly 2", nlgi="2", thickener="lithium complex", moly=True)


def _joint(want=GreaseWant(), head="conical"):  # noqa: B008
    return Joint(
        name="boom root",
        links=("upperstructure", "boom"),
        fittings=(Fitting(name="left", link="boom", position_m=(0, 0, 1), head=head),),
        dose=Dose(cm3=(3, 4)),
        interval=Interval(hours=50),
        grease=want,
    )


def test_an_open_want_takes_any_grease():
    assert fits(GreaseWant(), MOLY).ok


@pytest.mark.parametrize(
    ("want", "told"),
    [
        (GreaseWant(nlgi=("1",)), "EP2: wants NLGI 1, this is 2"),
        (GreaseWant(thickener="polyurea"), "EP2: wants polyurea, this is lithium"),
        (GreaseWant(moly=True), "EP2: wants moly, this has none"),
        (GreaseWant(code="KPF2K-30"), "EP2: wants solid lubricant, this has none"),
        (GreaseWant(code="KP1K-30"), "EP2: wants NLGI 1, this is 2"),
        (GreaseWant(code="GP2K-30"), "EP2: wants letter G, this is K"),
        (GreaseWant(code="KP2N-30"), "EP2: wants service up to 140 C, this gives 120 limit"),
        (GreaseWant(code="KP2K-40"), "EP2: wants service down to -40 C, this gives -30 limit"),
        (
            GreaseWant(code="ISO-L-XCCIB2"),
            "EP2: code is after DIN 51825, wanted is ISO 6743-9: ask the supplier",
        ),
        (GreaseWant(code="our own 7"), "EP2: wants our own 7, this is KP2K-30: ask the supplier"),
    ],
)
def test_each_want_alone_refuses(want, told):
    found = fits(want, EP2)
    assert (found.ok, found.reason) == (False, told)


def test_moly_may_be_forbidden():
    assert fits(GreaseWant(moly=False), MOLY).reason == "Moly 2: must have no moly, this has it"


def test_a_grease_better_than_its_code_asks_fits():
    assert fits(GreaseWant(code="K2G-20"), EP2).ok


def test_a_wanted_code_is_not_met_by_a_grease_that_carries_none():
    assert fits(GreaseWant(code="KP2K-30"), MOLY).reason == (
        "Moly 2: wants KP2K-30, this carries no code"
    )


GUNS = [Gun(name="one", grease="EP2", stroke_cm3=1), Gun(name="two", grease="Moly 2", stroke_cm3=1)]


def test_the_first_gun_that_fits_is_taken():
    both = {"guns": GUNS, "greases": [EP2, MOLY]}
    assert gun_for(_joint(), technician_guns=["two", "one"], **both) == GUNS[1]
    wants_plain = _joint(GreaseWant(moly=False))
    assert gun_for(wants_plain, technician_guns=["two", "one"], **both) == GUNS[0]


def test_no_gun_says_what_each_lacks():
    found = gun_for(
        _joint(GreaseWant(nlgi=("0",))),
        technician_guns=["one"],
        guns=GUNS,
        greases=[EP2, MOLY],
    )
    assert found == NoGun(reason="no gun fits: gun one holds EP2: wants NLGI 0, this is 2")


def test_a_gun_needs_the_coupler():
    gun = Gun(name="one", grease="EP2", stroke_cm3=1, couplers=("conical",))
    found = gun_for(_joint(head="flush"), technician_guns=["one"], guns=[gun], greases=[EP2])
    assert found == NoGun(reason="no gun fits: gun one has no coupler for flush heads")


def test_unreadable_codes_are_none():
    assert parse_code("KP9K-30") is None
    assert parse_code("grease") is None


def test_the_same_grease_mixes_whatever_its_thickener():
    odd = Grease(name="S", nlgi="2", thickener="calcium sulfonate")
    assert mix_greases(odd, odd).text == "same grease: S"
    assert mix_greases(odd, odd).mix


def test_unknown_thickeners_are_not_mixed():
    found = mix_thickeners("calcium sulfonate", "lithium")
    assert found.verdict == "unknown"
    assert not found.mix
    assert found.text == "calcium sulfonate is not on the chart: unknown, treat as do not mix"


def test_the_chart_is_quoted_with_its_limits():
    found = mix_greases(EP2, MOLY)
    assert found.verdict == "compatible"
    assert found.text == (
        "lithium with lithium complex: chart says compatible; charts disagree: "
        "ask the supplier, who tests the pair (ASTM D6185)"
    )


def test_borderline_is_not_mixed():
    assert not mix_thickeners("Aluminum Complex", "lithium").mix


def test_a_joint_takes_the_grease_with_the_moly_it_prefers():
    # Both greases fit; the preference alone decides, whatever the order of the guns.
    greases = [
        Grease(name="plain", nlgi="2", thickener="lithium", moly=False),
        Grease(name="black", nlgi="2", thickener="lithium", moly=True),
    ]
    guns = [Gun(name=g.name, grease=g.name, stroke_cm3=1.0) for g in greases]

    def taken(prefers_moly: bool | None, order: list[str]) -> str:
        joint = Joint(
            name="pin",
            links=("boom", "arm"),
            fittings=(Fitting(name="top", link="boom", position_m=(0, 0, 0)),),
            dose=Dose(cm3=(3, 4)),
            interval=Interval(hours=10),
            grease=GreaseWant(nlgi=("2",), prefers_moly=prefers_moly),
        )
        gun = gun_for(joint, technician_guns=order, guns=guns, greases=greases)
        assert isinstance(gun, Gun)
        return gun.name

    assert taken(True, ["plain", "black"]) == "black"
    assert taken(False, ["black", "plain"]) == "plain"
    assert taken(None, ["black", "plain"]) == "black"
    assert taken(True, ["plain"]) == "plain"


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("Li-cx", "lithium complex"),
        ("Li-X", "lithium complex"),
        ("aluminum complex soap", "aluminium complex"),
        ("clay (bentonite)", "clay"),
        ("Bentone", "clay"),
        ("calcium sulphonate", "calcium sulfonate"),
    ],
)
def test_a_thickener_has_one_spelling(name, word):
    assert thickener_word(name) == word


def test_several_misfits_and_missing_couplers_are_told_in_one_line():
    found = fits(GreaseWant(nlgi=("1",), thickener="polyurea"), EP2)
    assert found.reason == "EP2: wants NLGI 1, this is 2; wants polyurea, this is lithium"
    gun = Gun(name="lever", grease="EP2", stroke_cm3=1.4, couplers=("conical",))
    joint = _joint()
    flush, remote = (
        joint.fittings[0].model_copy(update={"name": h, "head": h}) for h in ("flush", "remote")
    )
    bare = joint.model_copy(update={"fittings": (remote, flush)})
    answer = gun_for(
        bare,
        technician_guns=["lever", "other"],
        guns=[gun, gun.model_copy(update={"name": "other"})],
        greases=[EP2],
    )
    assert isinstance(answer, NoGun)
    assert answer.reason == (
        "no gun fits: gun lever has no coupler for flush, remote heads; "
        "gun other has no coupler for flush, remote heads"
    )
