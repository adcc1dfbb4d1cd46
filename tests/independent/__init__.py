"""A second model of the whole planning problem, against which random small fleets are planned.

It is written from the manual and its tables of columns, and shares no code with `planner`: `generator` draws
the tables of a fleet, `reading` makes of them who may use whom, `model` solves it by CP-SAT (OR-Tools), `compare`
holds a plan against it. `python -m tests.independent --help` runs as many fleets as asked for.
"""
