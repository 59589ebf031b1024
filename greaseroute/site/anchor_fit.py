"""The fit of a site in local metres to points known on the earth as well."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from greaseroute.site.anchor import Anchor
from greaseroute.site.geodesy import LocalPlane, local_plane

Points = NDArray[np.float64]

LEAST_APART_M = 20.0  # points closer than this tell no direction
SCALE_OFF_MOST = 0.02  # a grid of metres is not longer or shorter than this
RESIDUAL_MOST_M = 10.0  # a handheld receiver is seldom worse


@dataclass(frozen=True, slots=True)
class AnchorFit:
    """The similarity that brings local metres onto a ``plane`` of the earth, least squares.

    A point z = x + i y of the site lies at ``turn`` z + ``shift`` on the plane. ``residual_m`` is
    the farthest any anchor point lies from where the fit puts it: 0 for two points.
    """

    plane: LocalPlane
    turn: complex
    shift: complex
    residual_m: float

    @property
    def scale(self) -> float:
        """Metres of the earth for a metre of the site."""
        return abs(self.turn)

    @property
    def turned_deg(self) -> float:
        """By how much the site's north lies west of true north, degrees."""
        return float(np.degrees(np.angle(self.turn)))

    def to_lonlat(self, points_m: Points) -> Points:
        """Longitude and latitude, (n, 2), of points of the site, (n, 2)."""
        a, b = self.turn.real, self.turn.imag
        turned = points_m @ np.array([[a, b], [-b, a]])
        return self.plane.to_source(turned + np.array([self.shift.real, self.shift.imag]))


def fit_anchor(anchor: Anchor) -> AnchorFit:
    """The best similarity through the points of an anchor.

    Least squares over the complex plane: turn = sum conj(z) w / sum |z|^2, both about their means
    (the two-dimensional case of Umeyama 1991, doi 10.1109/34.88573).
    """
    lon = round(float(np.mean([p.lon for p in anchor.points])), 7)
    lat = round(float(np.mean([p.lat for p in anchor.points])), 7)
    plane = local_plane("lon/lat", (lon, lat))
    earth = plane.to_plane(np.array([[p.lon, p.lat] for p in anchor.points]))
    z = np.array([complex(p.x_m, p.y_m) for p in anchor.points])
    w = earth[:, 0] + 1j * earth[:, 1]
    centred = z - z.mean()
    turn = complex((centred.conj() * (w - w.mean())).sum() / (np.abs(centred) ** 2).sum())
    shift = complex(w.mean() - turn * z.mean())
    residual = float(np.abs(turn * z + shift - w).max())
    return AnchorFit(plane, turn, shift, residual)


def why_unfit(anchor: Anchor) -> str:
    """What an anchor's points should be where they cannot be right, else ""."""
    z = np.array([complex(p.x_m, p.y_m) for p in anchor.points])
    if np.abs(z - z[0]).max() < LEAST_APART_M:
        return f"points at least {LEAST_APART_M:.0f} m apart"
    fit = fit_anchor(anchor)
    if abs(fit.scale - 1.0) > SCALE_OFF_MOST:
        return (
            "points as far apart on the site as on the earth "
            f"(these are {fit.scale:.3f} times as far on the earth)"
        )
    if fit.residual_m > RESIDUAL_MOST_M:
        return (
            f"points that fit together within {RESIDUAL_MOST_M:.0f} m "
            f"(these are up to {fit.residual_m:.1f} m off the best fit)"
        )
    return ""
