"""What differs between two plans or fleets, and why. `compare` is the way in."""

from planner.differences.compare_plans import compare
from planner.differences.difference import Difference

__all__ = ["Difference", "compare"]
