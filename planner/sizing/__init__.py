"""Sizing: how many hosts, where, and who uses which. `plan` is the way in.

The names here are all that other rooms of the house may use; the rest is private. They are loaded when first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.sizing.count_hosts import HostCount, count
    from planner.sizing.cover.loss_conditions import loss_conditions
    from planner.sizing.cover.losses import read_losses
    from planner.sizing.from_today.draining import as_planned, drained
    from planner.sizing.from_today.freezing import plan_frozen
    from planner.sizing.from_today.trade_off import Point, trade_off
    from planner.sizing.host_counts.certificate import certify, inequalities
    from planner.sizing.host_counts.condition_flows import Flow
    from planner.sizing.host_counts.cut_loop import CutLoop, LearnedCuts
    from planner.sizing.host_counts.cutting_planes import search_counts
    from planner.sizing.host_counts.fewest_hosts import size
    from planner.sizing.host_counts.hall_conditions import Cut, HallCondition, hall_conditions
    from planner.sizing.host_counts.reference_counts import reference_counts
    from planner.sizing.host_counts.rounding import round_counts
    from planner.sizing.instance.case import Case
    from planner.sizing.instance.classes import Classes, group
    from planner.sizing.instance.incumbent import incumbent_pairs, today_of
    from planner.sizing.instance.problem import Problem, build_problem, restrict, select, unlimited
    from planner.sizing.make_plan import plan
    from planner.sizing.mixes import Mix, Mixes
    from planner.sizing.packing.seat_sites import seat_all
    from planner.sizing.solution.counts import Sized
    from planner.sizing.solution.placement import Placement
    from planner.sizing.solution.seating import Seating
    from planner.sizing.solvers.budget import Progress, SolveBudget
    from planner.sizing.solvers.highs import Answer, LinearProgram, solve_arrays
    from planner.sizing.solvers.model_builder import (
        Loads,
        ModelBuilder,
        Terms,
        add_capacity,
        add_distance,
        add_host_limits,
    )
    from planner.sizing.tie_breaks.lexicographic import place, placed

__all__ = [
    "Answer",
    "Case",
    "Classes",
    "Cut",
    "CutLoop",
    "Flow",
    "HallCondition",
    "HostCount",
    "LearnedCuts",
    "LinearProgram",
    "Loads",
    "Mix",
    "Mixes",
    "ModelBuilder",
    "Placement",
    "Point",
    "Problem",
    "Progress",
    "Seating",
    "Sized",
    "SolveBudget",
    "Terms",
    "add_capacity",
    "add_distance",
    "add_host_limits",
    "as_planned",
    "build_problem",
    "certify",
    "count",
    "drained",
    "group",
    "hall_conditions",
    "incumbent_pairs",
    "inequalities",
    "loss_conditions",
    "place",
    "placed",
    "plan",
    "plan_frozen",
    "read_losses",
    "reference_counts",
    "restrict",
    "round_counts",
    "search_counts",
    "seat_all",
    "select",
    "size",
    "solve_arrays",
    "today_of",
    "trade_off",
    "unlimited",
]

_HOMES = {
    "Answer": "solvers.highs",
    "Case": "instance.case",
    "Classes": "instance.classes",
    "Cut": "host_counts.hall_conditions",
    "CutLoop": "host_counts.cut_loop",
    "Flow": "host_counts.condition_flows",
    "HallCondition": "host_counts.hall_conditions",
    "HostCount": "count_hosts",
    "LearnedCuts": "host_counts.cut_loop",
    "LinearProgram": "solvers.highs",
    "Loads": "solvers.model_builder",
    "Mix": "mixes",
    "Mixes": "mixes",
    "ModelBuilder": "solvers.model_builder",
    "Placement": "solution.placement",
    "Point": "from_today.trade_off",
    "Problem": "instance.problem",
    "Progress": "solvers.budget",
    "Seating": "solution.seating",
    "Sized": "solution.counts",
    "SolveBudget": "solvers.budget",
    "Terms": "solvers.model_builder",
    "add_capacity": "solvers.model_builder",
    "add_distance": "solvers.model_builder",
    "add_host_limits": "solvers.model_builder",
    "as_planned": "from_today.draining",
    "build_problem": "instance.problem",
    "certify": "host_counts.certificate",
    "count": "count_hosts",
    "drained": "from_today.draining",
    "group": "instance.classes",
    "hall_conditions": "host_counts.hall_conditions",
    "incumbent_pairs": "instance.incumbent",
    "inequalities": "host_counts.certificate",
    "loss_conditions": "cover.loss_conditions",
    "place": "tie_breaks.lexicographic",
    "placed": "tie_breaks.lexicographic",
    "plan": "make_plan",
    "plan_frozen": "from_today.freezing",
    "read_losses": "cover.losses",
    "reference_counts": "host_counts.reference_counts",
    "restrict": "instance.problem",
    "round_counts": "host_counts.rounding",
    "search_counts": "host_counts.cutting_planes",
    "seat_all": "packing.seat_sites",
    "select": "instance.problem",
    "size": "host_counts.fewest_hosts",
    "solve_arrays": "solvers.highs",
    "today_of": "instance.incumbent",
    "trade_off": "from_today.trade_off",
    "unlimited": "instance.problem",
}
__getattr__ = on_demand(__name__, _HOMES)
