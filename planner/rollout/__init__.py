"""From today's fleet to the plan: a safe order of moves with the fewest detours, in the fewest waves."""

from planner.rollout.plan_rollout import roll_out

__all__ = ["roll_out"]
