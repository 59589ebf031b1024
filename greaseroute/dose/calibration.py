"""What a gun gives for each stroke, from strokes weighed on paper."""

from greaseroute.errors import UnfitProblem
from greaseroute.records import Record
from greaseroute.units import g_to_cm3

USUAL_STROKE_G = (0.5, 3.0)
"""Hand guns give about 0.86 (pistol grip) to 1.28 g (lever), up to 3 g (trade journals)."""


class Calibration(Record):
    """The measured stroke of one gun."""

    stroke_g: float
    stroke_cm3: float
    strokes_weighed: int
    warning: str = ""


def _warning(stroke_g: float) -> str:
    low_g, high_g = USUAL_STROKE_G
    if low_g <= stroke_g <= high_g:
        return ""
    return (
        f"{stroke_g:.2f} g for a stroke is outside {low_g:g} to {high_g:g} g: weigh again, "
        "and look for air in the gun"
    )


def calibrate(total_g: float, *, density_g_cm3: float, strokes_weighed: int = 10) -> Calibration:
    """Stroke of a gun from ``strokes_weighed`` full strokes that weigh ``total_g`` together.

    Raises
    ------
    UnfitProblem
        Where nothing was weighed.
    """
    if total_g <= 0 or strokes_weighed < 1:
        raise UnfitProblem(
            "gun calibration",
            f"{strokes_weighed} strokes weighing {total_g:g} g",
            limit="one stroke or more, weighing more than 0 g",
            next_step="pump ten full strokes on paper and weigh them",
        )
    stroke_g = total_g / strokes_weighed
    return Calibration(
        stroke_g=stroke_g,
        stroke_cm3=g_to_cm3(stroke_g, density_g_cm3=density_g_cm3),
        strokes_weighed=strokes_weighed,
        warning=_warning(stroke_g),
    )
