"""Do the items that counts send to each pool go into its hosts?"""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.arc_flow import first_fit_decreasing, pack
from planner.sizing.packing.two_dimensions import Kind, pack_weighed
from planner.sizing.solvers.budget import SolveBudget


def packs_at_once(problem: Problem, classes: Classes, hosts: Ints, flow: Floats) -> bool:
    """Say whether first fit puts the sites ``flow`` (A,) of each arc into ``hosts`` (P,); no proof that none can."""
    sizes: dict[int, list[int]] = defaultdict(list)
    for arc in np.flatnonzero(flow > 0.5):
        size = int(classes.arc_items[arc])
        pool = int(classes.pool[arc])
        sizes[pool] += [size] * round(flow[arc])
    caps = problem.caps.tolist()
    packed = {p: first_fit_decreasing(items, caps[p]) for p, items in sizes.items()}
    return all(len(bins) <= hosts[p] for p, bins in packed.items())


def unpacked(problem: Problem, classes: Classes, hosts: Ints, flow: Floats, budget: SolveBudget) -> set[int]:
    """Return the pools whose items do not go into their ``hosts`` (P,); ``flow`` (A,) is whole where items matter."""
    weighed = problem.host_weight is not None
    pools: dict[int, Counter[Kind]] = defaultdict(Counter)
    matters = classes.arc_multi_cluster | weighed
    for arc in np.flatnonzero(matters & (flow > 0.5)):
        kind = int(classes.arc_items[arc]), float(classes.arc_item_weight[arc])
        pool = int(classes.pool[arc])
        pools[pool][kind] += round(flow[arc])

    def packs(p: int, kinds: Counter[Kind]) -> bool:
        running = int(hosts[p])
        cap = int(problem.caps[p])
        if problem.host_weight is not None:
            return pack_weighed(kinds, running, cap, problem.host_weight, budget) is not None
        sizes = [size for size, _ in kinds.elements()]
        return pack(sizes, running, cap, budget) is not None

    return {p for p, kinds in pools.items() if not packs(p, kinds)}
