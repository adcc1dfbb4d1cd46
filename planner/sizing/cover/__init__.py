"""The plan that survives the loss of any one host, hub or zone: with a standby for every site.

Six sites against the loss of a hub: three reach one hub only, and nothing can stand by for them. The others take two
hosts more than without cover.

>>> import planner
>>> from planner.sizing.cover.losses import read_losses
>>> from planner.sizing.six_sites import problem_of, six_sites
>>> fleet = six_sites(cover="hub")
>>> problem = problem_of(fleet)
>>> read_losses(fleet, problem).coverable_sites(problem).tolist()
[False, False, False, True, True, True]
>>> plan = planner.plan(fleet)
>>> plan.hosts, plan.lower_bound, [entry.site for entry in plan.uncovered]
(6, 6.0, ['S1', 'S2', 'S3'])
>>> [(row.site, row.hub, row.standby) for row in plan.assignments if row.standby]
[('S4', 'B', 'A-02'), ('S5', 'B', 'C-01'), ('S6', 'B', 'C-02')]
"""
