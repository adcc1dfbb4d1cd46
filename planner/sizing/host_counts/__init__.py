"""How many hosts of each pool: Hall conditions, cutting planes, rounding, and the certificate of the bound.

Six sites, and why four hosts: three of them reach hub A alone, where a host carries two, and the three clusters of two
others reach hubs B and C only.

>>> from planner.sizing.host_counts.certificate import certify
>>> from planner.sizing.host_counts.cutting_planes import search_counts
>>> from planner.sizing.instance.classes import group
>>> from planner.sizing.six_sites import problem_of, six_sites
>>> from planner.sizing.solvers.budget import SolveBudget
>>> problem = problem_of(six_sites())
>>> classes = group(problem, by_weight=False)
>>> search = search_counts(problem, classes, SolveBudget())
>>> search.best.tolist(), search.bound
([2, 1, 1], 4.0)
>>> certificate = certify(problem, search.cuts, search.bound, SolveBudget())
>>> [(row.room.tolist(), row.demand, int(y)) for row, y in zip(certificate.inequalities, certificate.multipliers)]
[([1, 0, 0], 2, 1), ([0, 1, 1], 2, 1)]
>>> int(certificate.bound)
4
"""
