"""The same crew problem given to the routing library, for comparison in the same run."""

import numpy as np

from greaseroute.solvers.vrp.problem import CrewProblem


def routing_library(problem: CrewProblem, *, limit_s: float) -> int | None:
    """Last finish in ms by OR-Tools routing, None if it finds no plan with all units.

    One way a unit, technicians alike: times as a dimension, its span weighed a hundred to one over
    the sum, guided local search.
    """
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    nodes = np.concatenate([problem.start_point[:1], problem.way_enter])
    travel = problem.travel_ms[0][np.ix_(nodes, nodes)]
    travel = travel + np.concatenate([[0], problem.way_ms[0]])[:, None]
    travel[:, 0] = problem.travel_ms[0][np.ix_(nodes, problem.finish_point[:1])][:, 0]
    travel[1:, 0] += problem.way_ms[0]
    manager = pywrapcp.RoutingIndexManager(len(nodes), problem.technicians, 0)
    model = pywrapcp.RoutingModel(manager)
    transit = model.RegisterTransitMatrix(travel.tolist())
    model.SetArcCostEvaluatorOfAllVehicles(transit)
    horizon = int(min(problem.end_ms.max(), 2 * travel.max(axis=1).sum() + problem.start_ms.max()))
    model.AddDimension(transit, horizon, horizon, False, "time")
    times = model.GetDimensionOrDie("time")
    times.SetGlobalSpanCostCoefficient(100)
    for unit, (opens, closes) in enumerate(problem.window_ms):
        last = int(closes - problem.way_ms[0, unit])
        times.CumulVar(manager.NodeToIndex(unit + 1)).SetRange(int(opens), min(last, horizon))
    for t in range(problem.technicians):
        times.CumulVar(model.Start(t)).SetValue(int(problem.start_ms[t]))
        times.CumulVar(model.End(t)).SetMax(horizon)
        model.AddVariableMinimizedByFinalizer(times.CumulVar(model.End(t)))
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.local_search_metaheuristic = (
        routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    )
    search.time_limit.FromMilliseconds(int(limit_s * 1000))
    plan = model.SolveWithParameters(search)
    if plan is None:
        return None
    return max(int(plan.Value(times.CumulVar(model.End(t)))) for t in range(problem.technicians))
