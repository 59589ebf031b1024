"""The same problem given to two general engines, for comparison in the same run.

Neither takes a closed tour without a depot, so each is told the node of the smallest cluster that
our own tour uses: an advantage, since that choice is part of the problem.
"""

import numpy as np


def with_depot(cost, clusters, node):
    """Costs with ``node`` first and the rest of its cluster left out; the other clusters."""
    others = [part for part in clusters if node not in part]
    nodes = [node] + [v for part in others for v in part]
    place = {v: i for i, v in enumerate(nodes)}
    return cost[np.ix_(nodes, nodes)], [[place[v] for v in part] for part in others]


def routing_library(cost, clusters, node, *, limit_s: float) -> int:
    """OR-Tools routing: one vehicle, a disjunction per cluster, guided local search."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    table, parts = with_depot(cost, clusters, node)
    manager = pywrapcp.RoutingIndexManager(len(table), 1, 0)
    model = pywrapcp.RoutingModel(manager)
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(table.tolist()))
    for part in parts:
        model.AddDisjunction([manager.NodeToIndex(v) for v in part], int(table.max()) * len(parts))
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = (
        routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    )
    search.time_limit.FromMilliseconds(int(limit_s * 1000))
    return int(model.SolveWithParameters(search).ObjectiveValue())


def pyvrp(cost, clusters, node, *, limit_s: float, seed: int) -> int:
    """PyVRP: one vehicle, a client group per cluster."""
    from pyvrp import Model
    from pyvrp.stop import MaxRuntime

    table, parts = with_depot(cost, clusters, node)
    model = Model()
    places = [model.add_location(0, 0) for _ in range(len(table))]
    model.add_depot(places[0])
    model.add_vehicle_type()
    for part in parts:
        group = model.add_client_group()
        for v in part:
            model.add_client(places[v], required=False, group=group)
    for a in range(len(table)):
        for b in range(len(table)):
            if a != b:
                model.add_edge(places[a], places[b], distance=int(table[a, b]))
    result = model.solve(MaxRuntime(limit_s), seed=seed, collect_stats=False, display=False)
    return int(result.cost()) if result.is_feasible() else -1
