"""Do the items that counts send to each pool go into its hosts?"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.arc_flow import pack
from planner.sizing.packing.two_dimensions import pack_weighed
from planner.sizing.solvers.budget import SolveBudget


def unpacked(problem: Problem, classes: Classes, hosts: Ints, flow: Floats, budget: SolveBudget) -> set[int]:
    """Return the pools whose items do not go into their ``hosts`` (P,); ``flow`` (A,) is whole where items matter."""
    weighed = problem.host_weight is not None
    pools: dict[int, dict[tuple[int, float], int]] = defaultdict(lambda: defaultdict(int))
    for arc in np.flatnonzero((classes.multi_cluster[classes.of_arc] | weighed) & (flow > 0.5)):
        c = classes.of_arc[arc]
        pools[int(classes.pool[arc])][int(classes.items[c]), float(classes.item_weight[c])] += round(flow[arc])

    def packs(p: int, kinds: dict[tuple[int, float], int]) -> bool:
        running = int(hosts[p])
        cap = int(problem.caps[p])
        if problem.host_weight is not None:
            return pack_weighed(kinds, running, cap, problem.host_weight, budget) is not None
        sizes = [size for (size, _), copies in kinds.items() for _ in range(copies)]
        return pack(sizes, running, cap, budget).bins is not None

    return {p for p, kinds in pools.items() if not packs(p, kinds)}
