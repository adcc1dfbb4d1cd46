"""Sites on the hosts of one pool: bin packing, in one dimension or two.

Three sites on two hosts of pool B that carry two clusters each: S5 stays on its host of today, S6 needs one to itself.

>>> from planner.sizing.packing.arc_flow import first_fit_decreasing, pack
>>> from planner.sizing.packing.seat_sites import fill
>>> from planner.sizing.packing.items import Item
>>> from planner.sizing.solvers.budget import SolveBudget
>>> items = [Item("S4", 1, True, 4.0, ""), Item("S5", 1, True, 9.0, "B-02"), Item("S6", 2, True, 5.0, "")]
>>> sorted((items[at].site, host) for at, host, clusters in fill(items, ["B-01", "B-02"], 2, SolveBudget()))
[('S4', 'B-02'), ('S5', 'B-02'), ('S6', 'B-01')]

Where large sites do not fit in turn, the arc-flow model packs them, or says that it cannot be done.

>>> sizes = [5, 4, 4, 3, 2, 2]
>>> len(first_fit_decreasing(sizes, cap=10)), len(pack(sizes, hosts=2, cap=10, budget=SolveBudget()))
(3, 2)
>>> print(pack([4, 4, 4, 3, 3], hosts=3, cap=6, budget=SolveBudget()))
None
"""
