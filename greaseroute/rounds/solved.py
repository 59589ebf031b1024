"""What a round comes to before it is written down: schedules, what is left, what is proved."""

from collections.abc import Mapping
from dataclasses import dataclass

from greaseroute.plan.round import Bound
from greaseroute.rounds.prepare import Prepared
from greaseroute.rounds.proof import Proof, told
from greaseroute.rounds.schedule import Schedule
from greaseroute.rounds.team import Team
from greaseroute.units import MS_PER_S
from greaseroute.visits.steps import UnitCall


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Schedules in the order of the technicians; why units are not visited; the certificate.

    ``lost`` is the weight of what time did not allow, ``notes`` what would help. Where ``proof`` is
    given the bound is under way and still to be had from it; until then ``bound`` says that there
    is none. It has to be ended where it is not wanted. ``less_ms`` is taken off the bound.
    """

    ready: Prepared
    team: Team
    schedules: tuple[Schedule, ...]
    skipped: Mapping[str, str]
    bound: Bound
    complete: bool
    lost: int = 0
    notes: tuple[str, ...] = ()
    proof: Proof | None = None
    less_ms: int = 0

    def proved(self) -> Bound:
        """The certificate, waited for where it is under way."""
        if self.proof is None:
            return self._less(self.bound)
        lower_ms, what = self.proof.lower()
        return self._less(told(self.schedules, self.team.site, lower_ms=lower_ms, what=what))

    def give_up_proof(self) -> None:
        """End the proof, where one is under way."""
        if self.proof is not None:
            self.proof.end()

    @property
    def calls(self) -> list[UnitCall]:
        """Every visit to a unit, technician by technician."""
        return [call for schedule in self.schedules for call in schedule.calls]

    def _less(self, bound: Bound) -> Bound:
        """The certificate for guns that hold more than those it was sought with."""
        if self.less_ms == 0 or bound.no_sooner_s is None:
            return bound
        lower_ms = round(bound.no_sooner_s * MS_PER_S) - self.less_ms
        what = f"{bound.what}; less the cartridge changes that fuller guns may save"
        return told(self.schedules, self.team.site, lower_ms=max(0, lower_ms), what=what)
