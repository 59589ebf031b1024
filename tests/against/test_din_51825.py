"""Grease codes after DIN 51825:2004 / DIN 51502:1990, and ISO 6743-9:2003 beside them.

Sources: letters K, G, OG, M and P, F and base oils, temperature pairs C to H: a grease maker's
page on DIN 51502 and e-coll.de "Kennzeichnung von Schmierfetten nach DIN 51502". Letters K to U
and every letter of ISO 6743-9 are from memory and are compared with the table they were typed into.
"""

import pytest

from greaseroute.catalogue.grease_code import DIN_UPPER_C, parse_code


def test_kp2k_30():
    code = parse_code("KP2K-30")
    assert (code.use, code.ep, code.solid, code.nlgi) == ("K", True, False, "2")
    assert (code.lower_c, code.upper_c, code.water) == (-30, 120, 2)


def test_moly_code_with_base_oil():
    code = parse_code("DIN 51825 - KPFHC2N-40")
    assert (code.use, code.ep, code.solid, code.base) == ("K", True, True, "HC")
    assert (code.nlgi, code.upper_c, code.lower_c) == ("2", 140, -40)


@pytest.mark.parametrize(
    ("letter", "upper_c", "good_water"),
    [
        ("C", 60, True),
        ("D", 60, False),
        ("E", 80, True),
        ("F", 80, False),
        ("G", 100, True),
        ("H", 100, False),
    ],
)
def test_upper_temperature_pairs(letter, upper_c, good_water):
    code = parse_code(f"M1{letter}")
    assert (code.upper_c, code.water == 2, code.lower_c) == (upper_c, good_water, None)


def test_remembered_letters_equal_their_table():
    typed = {"K": 120, "M": 120, "N": 140, "P": 160, "R": 180, "S": 200, "T": 220}
    for letter, upper_c in typed.items():
        assert parse_code(f"K2{letter}-20").upper_c == upper_c == DIN_UPPER_C[letter]


@pytest.mark.parametrize("use", ["K", "G", "OG", "M"])
def test_uses(use):
    assert parse_code(f"{use}00G-20").use == use


def test_iso_xccib2():
    """-30 C, 120 C, wash-out with rust protection in salt water, EP, NLGI 2 (from memory)."""
    code = parse_code("ISO-L-XCCIB2")
    assert (code.standard, code.nlgi, code.ep) == ("ISO 6743-9", "2", True)
    assert (code.lower_c, code.upper_c, code.water, code.rust) == (-30, 120, 2, 2)
