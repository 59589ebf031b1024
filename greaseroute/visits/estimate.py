"""A quick reckoning of a visit's time before any route is known, for levelling and for choosing."""

import numpy as np
from numpy.typing import NDArray

from greaseroute.site.model import Site

DETOUR = 1.3
"""Walk over straight line between neighbours; common practice, no source."""

AROUND_S = 30.0
"""Walk around one machine from stand to stand; common practice, no source."""


def visit_seconds(site: Site) -> NDArray[np.float64]:
    """(units,) time of a visit whatever is done there: isolation, the walk to it and around it.

    The walk is reckoned as the straight line to the nearest other unit times `DETOUR`; a planned
    round replaces it.
    """
    at_m = np.array([(unit.x_m, unit.y_m) for unit in site.units], dtype=np.float64)
    apart = np.hypot(*(at_m[:, None, :] - at_m[None, :, :]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    nearest = apart.min(axis=1) if len(at_m) > 1 else np.zeros(len(at_m))
    walk_s = DETOUR * nearest / site.rules.walking_speed_m_s
    return np.asarray(site.rules.isolation_s + walk_s + AROUND_S, dtype=np.float64)
