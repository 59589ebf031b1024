"""greaseroute: the morning walk that greases every pin joint due on a site's mixed fleet.

>>> import greaseroute as gr
>>> site = gr.read_site("sites_demo/three_machines")
>>> site
<site 'Three machines': 3 units, 1 technician>

``__all__`` is the promise to programs; each name is loaded when it is first asked for.
"""

import importlib

__version__ = "0.1.0"

__all__ = [
    "CrewProblem",
    "FreeGround",
    "due",
    "plan_first_day",
    "plan_round",
    "plan_week",
    "read_plan",
    "read_site",
    "record_writer",
    "solve_clusters",
    "solve_crew",
]

_HOMES = {
    "CrewProblem": "greaseroute.solvers.vrp.problem",
    "FreeGround": "greaseroute.walk.ground",
    "due": "greaseroute.door.open_site",
    "plan_first_day": "greaseroute.door.ahead",
    "plan_round": "greaseroute.door.round",
    "plan_week": "greaseroute.door.ahead",
    "read_plan": "greaseroute.door.round",
    "read_site": "greaseroute.door.open_site",
    "record_writer": "greaseroute.door.record",
    "solve_clusters": "greaseroute.solvers.gtsp.solve",
    "solve_crew": "greaseroute.solvers.vrp.solve",
}


def __getattr__(name: str) -> object:
    """The public name, loaded with its module. Raises AttributeError."""
    if name not in _HOMES:
        raise AttributeError(f"module 'greaseroute' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
