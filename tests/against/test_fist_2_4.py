"""Thickener mixing chart: FIST 2-4, Lubrication of Powerplant Equipment, table 2 (1990).

Source: US Bureau of Reclamation, Facilities Instructions, Standards and Techniques 2-4, November
1990, p. 15 (copy at pinacia.com). That charts disagree: "Contradictory Compatibility",
lubesngreases.com, a review of 21 charts in which aluminium complex with lithium complex is
compatible in 12, borderline in 4, incompatible in 5. The test for a pair: ASTM D6185.
"""

from itertools import combinations

import pytest

from greaseroute.site.mixing import THICKENERS, mix_thickeners

CHART = {
    "sodium": "C I I I I I I I I",
    "aluminium complex": "I C I I I I B C I",
    "barium": "I I C I I I I I I",
    "calcium": "I I I C I I B C I",
    "calcium complex": "I I I I C I I I I",
    "clay": "I I I I I B I I I",
    "lithium": "I B I B I I C C I",
    "lithium complex": "I C I C I I C C I",
    "polyurea": "I I I I I I I I C",
}
WORDS = {"C": "compatible", "B": "borderline", "I": "incompatible"}


@pytest.mark.parametrize("row", list(CHART))
def test_every_cell(row):
    cells = dict(zip(CHART, CHART[row].split(), strict=True))
    for column, letter in cells.items():
        assert mix_thickeners(row, column).verdict == WORDS[letter]
        assert mix_thickeners(column, row).verdict == WORDS[letter]


def test_counts_off_the_diagonal():
    found = [mix_thickeners(a, b).verdict for a, b in combinations(THICKENERS, 2)]
    counts = {word: found.count(word) for word in set(found)}
    assert counts == {"compatible": 3, "borderline": 2, "incompatible": 31}


@pytest.mark.parametrize("other", ["calcium sulfonate", "shear-stable polyurea", "lithium calcium"])
def test_what_the_chart_does_not_list_is_unknown(other):
    assert mix_thickeners(other, "lithium").verdict == "unknown"


def test_every_answer_of_the_chart_says_that_charts_disagree():
    for row in THICKENERS:
        assert "charts disagree" in mix_thickeners(row, "lithium").text
        assert "ASTM D6185" in mix_thickeners(row, "lithium").text
