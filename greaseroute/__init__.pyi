"""The public names with their types; they are loaded when first asked for."""

from greaseroute.door.ahead import plan_first_day as plan_first_day
from greaseroute.door.ahead import plan_week as plan_week
from greaseroute.door.open_site import due as due
from greaseroute.door.open_site import read_site as read_site
from greaseroute.door.record import record_writer as record_writer
from greaseroute.door.round import plan_round as plan_round
from greaseroute.door.round import read_plan as read_plan
from greaseroute.solvers.gtsp.solve import solve_clusters as solve_clusters
from greaseroute.solvers.vrp.problem import CrewProblem as CrewProblem
from greaseroute.solvers.vrp.solve import solve_crew as solve_crew
from greaseroute.walk.ground import FreeGround as FreeGround

__version__: str
__all__: list[str]
