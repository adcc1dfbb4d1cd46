"""The best draft, and what is known of all plans; a bound counts where it is one on plans as good as the best."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from planner.arrays import int_array
from planner.fleet import Bools, Floats
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import Evaluator, evaluator_of
from planner.sizing.solution.served_aims import Worth

_CLOSE = 1e-9


@dataclass
class Best:
    """Drafts are offered one by one; ``draft`` is the best by ``evaluate``, with the bounds that hold for it."""

    problem: Problem
    losses: Losses
    evaluate: Evaluator
    _best: Draft | None = None
    _merit: tuple[float, ...] = ()
    _known: list[tuple[Floats, Sized]] = field(default_factory=list)

    def offer(self, draft: Draft) -> None:
        """Take ``draft`` if it is better, and what its engine knows of all plans in any case."""
        merit = self.evaluate(draft)
        if self._best is None or merit < self._merit:
            self._best, self._merit = draft, merit
        bare = self._never(draft) + draft.sized.uncovered
        worth = np.array([*merit[:2], bare])
        self._known.append((worth, draft.sized))

    def leads(self, draft: Draft) -> bool:
        """Whether ``draft`` is the best that was offered."""
        return self._best is draft

    def _never(self, draft: Draft) -> float:
        """Return the weight of sites on shared hosts that no plan gives a standby."""
        seated = {seat.site for seat in draft.seating.seats}
        sites = int_array(sorted(seated))
        return float(self.problem.weight_of(sites[~self._coverable[sites]]))

    @cached_property
    def _coverable(self) -> Bools:
        return self.losses.coverable_sites(self.problem)

    def _holding(self) -> list[Sized]:
        """Return what was said of plans that serve and cover as much as the best."""
        least = np.array(self._merit[:3]) - _CLOSE
        return [sized for worth, sized in self._known if (worth >= least).all()]

    @property
    def bound(self) -> float:
        """The greatest bound on the objective of plans that serve and cover as much as the best."""
        return max((sized.bound for sized in self._holding()), default=0.0)

    @property
    def closed(self) -> bool:
        """Whether no plan serves more, covers more, or has a smaller objective."""
        proven = any(sized.weight_proven for sized in self._holding())
        return proven and self.draft.sized.value <= self.bound + _CLOSE

    @property
    def draft(self) -> Draft:
        """The best draft, with the bound and what else is known."""
        assert self._best is not None
        sized, holding = self._best.sized, self._holding()
        sharpest = max(holding, key=lambda one: one.bound, default=sized)
        least: dict[Worth, float] = {}
        for one in holding:
            for aim, bound in one.least.items():
                least[aim] = max(bound, least.get(aim, 0.0))
        told = dataclasses.replace(
            sized,
            bound=min(sized.value, self.bound),
            weight_proven=any(one.weight_proven for one in holding),
            word=sharpest.word,
            cuts=sharpest.cuts,
            forcing=sharpest.forcing,
            evidence=sharpest.evidence,
            least=least,
        )
        return dataclasses.replace(self._best, sized=told)


@dataclass
class BestAmongEquals:
    """The best ``draft`` so far of plans that are equal by all aims before the later ones; its bounds stay."""

    case: Case
    draft: Draft

    def offer(self, found: Draft) -> Draft:
        """Take ``found`` if it is better, with what is known of all plans; return the best."""
        judge = evaluator_of(self.case, cover=self.case.fleet.policy.cover != "none")
        hosts = found.sized.counts.hosts
        counts = dataclasses.replace(self.draft.sized.counts, hosts=hosts)
        sized = dataclasses.replace(self.draft.sized, counts=counts)
        trial = dataclasses.replace(found, sized=sized)
        if judge(trial) < judge(self.draft):
            self.draft = trial
        return self.draft
