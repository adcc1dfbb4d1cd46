"""The cost objective is single-source capacitated facility location: published optimum of CSPLib problem 034."""

import numpy as np
import pandas as pd

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.sizing import plan
from planner.verify import verify

WAREHOUSES = ["Bonn", "Bordeaux", "London", "Paris", "Rome"]
CAPACITY = [1, 4, 2, 1, 3]
STORE_COSTS = [
    [20, 24, 11, 25, 30],
    [28, 27, 82, 83, 74],
    [74, 97, 71, 96, 70],
    [2, 55, 73, 69, 61],
    [46, 96, 59, 83, 4],
    [42, 22, 29, 67, 59],
    [1, 5, 73, 59, 56],
    [10, 73, 13, 43, 96],
    [93, 35, 63, 85, 46],
    [47, 65, 55, 71, 95],
]


def warehouses(**policy) -> Fleet:
    stores = [str(s) for s in range(10)]
    pairs = pd.MultiIndex.from_product([stores, WAREHOUSES])
    return Fleet(
        sites=typed_table(columns.SITES, {"site": stores}),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": WAREHOUSES,
                "pool": WAREHOUSES,
                "cluster_cap": CAPACITY,
                "max_hosts": [1] * 5,
                "host_cost": [30] * 5,
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {
                "site": pairs.get_level_values(0),
                "hub": pairs.get_level_values(1),
                "rtt_ms": np.full(50, 1.0),
                "pair_cost": np.ravel(STORE_COSTS),
            },
        ),
        policy=Policy(latency_budget_ms=10.0, **policy),
    )


def test_warehouse_location_costs_383():
    """OR-1: CSPLib prob034; data P. Van Hentenryck, The OPL Optimization Programming Language, MIT Press 1999.

    The optimum 383 is unique: Paris closed, Bonn {3}, Bordeaux {1,5,6,8}, London {7,9}, Rome {0,2,4}.
    """
    fleet = warehouses(objective="cost")
    result = plan(fleet)
    assert (result.status, result.objective_value, result.lower_bound) == ("optimal", 383.0, 383.0)
    served: dict[str, set[str]] = {}
    for row in result.assignments:
        served.setdefault(row.hub, set()).add(row.site)
    assert served == {"Bonn": {"3"}, "Bordeaux": {*"1568"}, "London": {*"79"}, "Rome": {*"024"}}
    assert verify(fleet, result) == ()


def test_fewest_warehouses_by_capacity_alone_are_four():
    """OR-2, derived from OR-1: the three largest hold 9 of 10 stores."""
    result = plan(warehouses())
    assert (result.hosts, result.lower_bound) == (4, 4)
