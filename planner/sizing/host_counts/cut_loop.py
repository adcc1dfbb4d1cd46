"""The loop of cutting planes: a relaxation proposes counts, flows say which inequalities they lack, and so on.

Each round gives a bound, since the model is a relaxation. What it proposes may lack something, which becomes a cut.

Source: cuts on demand, G. B. Dantzig, D. R. Fulkerson, S. M. Johnson, Operations Research 2 (1954) 393-410.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Generic, TypeVar

from planner.fleet import Ints
from planner.sizing.host_counts.condition_flows import Flow
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition
from planner.sizing.solvers.budget import SolveBudget

_SHORT_FLOWS = 6  # looked at in a round; with cover there is one for each loss

Proposal = TypeVar("Proposal")


class CutLoop(ABC, Generic[Proposal]):
    """A model that grows by cuts until what it proposes lacks none. ``bound`` holds at every round."""

    bound: float = 0.0

    def run(self, budget: SolveBudget) -> None:
        """Ask and learn until the loop is closed, nothing more can be learned, or time ends."""
        while not self.closed and not budget.spent:
            proposal, bound = self.propose(budget)
            self.bound = max(self.bound, bound)
            if proposal is None or not self.examine(proposal, budget):
                return

    @property
    @abstractmethod
    def closed(self) -> bool:
        """Whether nothing better can be found."""

    @abstractmethod
    def propose(self, budget: SolveBudget) -> tuple[Proposal | None, float]:
        """Return what the model proposes, None where it has nothing, and the bound that this gives."""

    @abstractmethod
    def examine(self, proposal: Proposal, budget: SolveBudget) -> bool:
        """Learn what a proposal lacks, or keep one that lacks nothing; say whether to ask again."""


class LearnedCuts:
    """The cuts of some conditions on host counts. Of ``conditions`` those come first that were short last."""

    def __init__(self, conditions: Sequence[HallCondition], cuts: Sequence[Cut] = ()) -> None:
        self.conditions = list(conditions)
        self.cuts: list[Cut] = []
        self._known: set[tuple[int, bytes, bytes]] = set()
        for cut in cuts:
            self.add(cut)

    def add(self, cut: Cut) -> bool:
        """Take in a cut; say whether it is new."""
        key = (cut.condition, cut.classes.tobytes(), cut.room.tobytes())
        if key in self._known:
            return False
        self._known.add(key)
        self.cuts.append(cut)
        return True

    def short_flows(self, hosts: Ints) -> list[Flow]:
        """Return flows with which ``hosts`` (P,) do not carry everybody, a few are enough; none if all are carried."""
        short: list[Flow] = []
        for condition in self.conditions:
            flow = condition.flow(hosts)
            if flow.missing > 0:
                short.append(flow)
            if len(short) == _SHORT_FLOWS:
                break
        first = [flow.condition for flow in short]
        met = {id(condition) for condition in first}
        later = [condition for condition in self.conditions if id(condition) not in met]
        self.conditions = first + later
        return short

    def learn(self, hosts: Ints, flows: Sequence[Flow]) -> list[Cut]:
        """Take in every cut of ``flows`` that ``hosts`` (P,) fails; return those that are new."""
        found = (cut for flow in flows for cut in flow.cuts())
        return [cut for cut in found if cut.shortfall(hosts) > 0 and self.add(cut)]
