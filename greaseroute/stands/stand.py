"""Stands, what is wanted at a unit, and what stays out of reach."""

from dataclasses import dataclass

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One fitting to get a coupler onto, or (``look``) one look point to read.

    ``joint`` and ``fitting`` name it (a look point has its name in ``joint``); ``at_m`` is its
    place on the site in the posture at hand; ``hose_m`` the hose of the gun used on it.
    """

    joint: str
    fitting: str
    at_m: Point3
    hose_m: float = 0.0
    look: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """What names it in every posture."""
        return self.joint, self.fitting


@dataclass(frozen=True, slots=True)
class Stand:
    """A place for the feet.

    ``foot_m`` is the point on free ground where walking to it ends: the place itself, or the
    foot of the steps for a stand on a deck. ``climb_s`` is the way up and down again.
    ``serves`` are indices into ``UnitStands.wanted``, ``bands`` the height band of each.
    """

    x_m: float
    y_m: float
    height_m: float
    deck: str | None
    foot_m: Point2
    climb_s: float
    serves: tuple[int, ...]
    bands: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutOfReach:
    """A wanted fitting that no stand serves, in plain words, and what would help."""

    wanted: Wanted
    reason: str
    helps: str = ""


@dataclass(frozen=True, slots=True)
class UnitStands:
    """Where to stand at one unit in one posture."""

    posture: str
    wanted: tuple[Wanted, ...]
    stands: tuple[Stand, ...]
    out_of_reach: tuple[OutOfReach, ...]
