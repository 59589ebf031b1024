"""Where a technician's hand gets to, and what each height costs."""

from typing import Self

from pydantic import model_validator

from greaseroute.records import Record, number


class Reach(Record):
    """Where a technician's hand gets to, and what each height costs.

    Height bands after British body sizes, 5th percentile woman, overhead grip 1.79 m plus shoes:
    kneel up to 0.30 m, stoop to 0.60, stand to 1.50, overhead to 1.80. Band times (s, down and
    up again) are settings; kneeling both knees and arising is 146.1 TMU = 5.26 s, bending and
    arising 60.9 TMU = 2.19 s (MTM-1, from memory).
    """

    arm_m: float = number(
        "reach of the arm from the shoulder",
        default=0.60,
        least=0.2,
        greatest=1.5,
        unit="m",
        usual=(0.4, 0.9),
    )
    shoulder_m: float = number(
        "height of the shoulder, shoes on",
        default=1.40,
        least=0.5,
        greatest=2.2,
        unit="m",
        usual=(1.2, 1.7),
    )
    kneel_to_m: float = number(
        "height up to which one kneels",
        default=0.30,
        least=0.0,
        greatest=1.5,
        unit="m",
    )
    stoop_to_m: float = number(
        "height up to which one stoops",
        default=0.60,
        least=0.0,
        greatest=2.0,
        unit="m",
    )
    stand_to_m: float = number(
        "height up to which one stands upright",
        default=1.50,
        least=0.3,
        greatest=2.5,
        unit="m",
    )
    overhead_to_m: float = number(
        "height up to which one reaches overhead",
        default=1.80,
        least=0.5,
        greatest=3.0,
        unit="m",
        usual=(1.5, 2.3),
    )
    kneel_s: float = number(
        "time to kneel down and get up",
        default=5.26,
        least=0.0,
        greatest=300.0,
        unit="s",
        usual=(0.0, 30.0),
    )
    stoop_s: float = number(
        "time to stoop and straighten up",
        default=2.19,
        least=0.0,
        greatest=300.0,
        unit="s",
        usual=(0.0, 30.0),
    )
    stand_s: float = number(
        "time more for a fitting at standing height",
        default=0.0,
        least=0.0,
        greatest=300.0,
        unit="s",
        usual=(0.0, 30.0),
    )
    overhead_s: float = number(
        "time more for a fitting overhead",
        default=2.0,
        least=0.0,
        greatest=300.0,
        unit="s",
        usual=(0.0, 30.0),
    )
    wipe_s: float = number(
        "time to wipe a fitting before and after",
        default=4.0,
        least=0.0,
        greatest=600.0,
        unit="s",
        usual=(0.0, 60.0),
    )
    couple_s: float = number(
        "time to push the coupler on and to take it off",
        default=2.0,
        least=0.0,
        greatest=600.0,
        unit="s",
        usual=(0.5, 60.0),
    )
    bleed_s: float = number(
        "time for the pressure to go out of the hose before the coupler comes off",
        default=2.0,
        least=0.0,
        greatest=600.0,
        unit="s",
        usual=(0.0, 60.0),
    )
    settle_s: float = number(
        "time to settle at a stand",
        default=5.0,
        least=0.0,
        greatest=600.0,
        unit="s",
        usual=(0.0, 60.0),
    )
    climb_m_s: float = number(
        "height climbed in a second",
        default=0.30,
        least=0.02,
        greatest=2.0,
        unit="m/s",
        usual=(0.1, 0.6),
    )

    @property
    def handling_s(self) -> float:
        """Time at each fitting beside its strokes and the height: wiped, coupled, let off.

        With strokes, height and settling at the stand a fitting takes 30 to 60 s; common practice,
        no source.
        """
        return self.wipe_s + self.couple_s + self.bleed_s

    @model_validator(mode="after")
    def _bands_rise(self) -> Self:
        if not self.kneel_to_m <= self.stoop_to_m <= self.stand_to_m <= self.overhead_to_m:
            raise ValueError(
                "kneel_to_m, stoop_to_m, stand_to_m, overhead_to_m from the lowest to the highest"
            )
        return self
