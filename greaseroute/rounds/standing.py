"""What stays as it is from one round to the next: machines placed, ground laid, stands found."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

from shapely.geometry import Polygon

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning
from greaseroute.visits.reach import Posed, as_posed
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.obstacles import Closing, close
from greaseroute.walk.site_ground import ClosedBy
from greaseroute.walk.ways_out import WayOut, ways_out
from greaseroute.walk.yard import Stances, Yard, stances_now, yard_of

MOST_GROUNDS = 16  # some megabytes each; the oldest goes first


@dataclass(frozen=True, eq=False)
class Standing:
    """A site whose units stand where the fleet list has them, whatever the morning.

    What one round works out about machines and ground is taken up by the next one, which comes
    out the same as without. For one site; a copy of it with other guns is the same here.
    """

    site: Site
    closed_by: ClosedBy = field(default_factory=lambda: cache(closed_ground))
    closing: Closing = field(default_factory=lambda: cache(close))
    _grounds: dict[tuple[object, ...], FreeGround] = field(default_factory=dict)
    _ways: dict[str, Polygon] = field(default_factory=dict)

    @cached_property
    def now(self) -> dict[str, tuple[PlacedMachine, ...]]:
        """Every unit in the posture it stands in. Raises PostureRefused, UnknownName."""
        return stances_now(self.site)

    @cached_property
    def posed(self) -> dict[str, Posed]:
        """The same with the ground that each unit closes."""
        return {unit: as_posed(placed[0], self.closed_by) for unit, placed in self.now.items()}

    def traffic(self, morning: Morning) -> tuple[WayOut, ...]:
        """The ways out of the units that leave before the morning ends."""
        return ways_out(self.site, self.now, morning, known=self._ways)

    def yard(self, stances: Stances, morning: Morning, *, traffic: Sequence[WayOut] = ()) -> Yard:
        """Free ground with all units in ``stances`` by the hours of a morning."""
        standing = tuple(stances.items()), tuple(way.unit for way in traffic)

        def known(shut: tuple[bool, ...], lay: Callable[[], FreeGround]) -> FreeGround:
            key = standing, shut
            found = self._grounds.pop(key, None) or lay()
            self._grounds[key] = found  # the last one asked for stands last
            if len(self._grounds) > MOST_GROUNDS:
                del self._grounds[next(iter(self._grounds))]
            return found

        return yard_of(self.site, stances, morning, traffic=traffic, closed_by=self.closed_by,
                       closing=self.closing, known=known)  # fmt: skip
