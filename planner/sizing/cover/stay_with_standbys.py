"""Fewest moves under cover: the program of who can stay, with a standby for every site and room for every loss.

Sets and data as in `tie_breaks.stay_program`; x and y have a standby in pool q or none, and U is the weight of the plan
at hand without one. Beyond the rows there
    (8) sum w_c (x_cp + y_cp) without standby <= U
    (9) every loss finds room, see `stay_losses`
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.cover.home_choices import choices_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.stay_losses import Homes, HostLosses, add_pool_losses
from planner.sizing.instance.case import Case
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.model_builder import Term
from planner.sizing.tie_breaks.as_good import as_good_as
from planner.sizing.tie_breaks.stay_program import Kept, StayProgram


class StayWithStandbys(StayProgram):
    """The program of plans as good as ``draft``, which keep all of ``kept`` too."""

    def __init__(self, case: Case, ground: Ground, draft: Draft, kept: Sequence[Kept] = ()) -> None:
        self.ground = ground
        self.every_host = ground.by_host
        self.bare = case.problem.weight_of(draft.bare)
        without = ground.coverable[draft.bare]
        self.short = bool(without.any())
        good = as_good_as(case, draft)
        super().__init__(case, good, kept)
        self._bare()
        self._losses()

    @property
    def counts(self) -> Ints:
        """The columns that say which hosts run."""
        of_hosts = super().counts
        if self.host_losses is None:
            return of_hosts
        return np.concatenate((of_hosts, self.host_losses.levels))

    def ways(self, sites: Bools) -> tuple[Ints, Ints]:
        """Return the pairs that ``sites`` (S,) may use, and pools of their standbys, -1 for none; shapes (X,)."""
        found = choices_of(self.ground, sites, bare=self.short)
        return found.pair, found.standby

    def _bare(self) -> None:
        """Add (8)."""
        bare = self.standby < 0
        if self.short and bare.any() and not bare.all():
            weight = self.classes.weight[self.kind[bare]]
            alone: Term = self.x[bare], weight
            self.built.at_most([alone], self.bare + 0.5)

    def _losses(self) -> None:
        """Add (9)."""
        homes = Homes(self.home, self.standby, self.on, self.clusters, self.x)
        self.host_losses: HostLosses | None = None
        if not (self.standby >= 0).any():
            return
        if self.ground.by_host:
            running = self.n, self.r, self.host_pool
            self.host_losses = HostLosses(self.built, self.ground, homes, running)
        else:
            add_pool_losses(self.built, self.ground, homes, self.n)
