"""Branch and bound on whole columns, cut short after any number of programs."""

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, milp

from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.model_builder import ModelBuilder
from planner.sizing.tie_breaks.whole_search import WholeSearch

COLUMNS, ROWS, MOST = 8, 5, 3.0


class Solves(SolveBudget):
    """Ends after so many programs, where clocks would end anywhere."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most, self.asked = most, 0

    @property
    def spent(self) -> bool:
        return self.asked >= self.most


def random_program(seed):
    rng = np.random.default_rng(seed)
    built = ModelBuilder()
    cost = rng.integers(1, 9, COLUMNS).astype(float)
    x = built.block(COLUMNS, cost, np.full(COLUMNS, MOST))
    each = rng.integers(0, 7, (ROWS, COLUMNS)).astype(float)
    least = rng.integers(5, 40, ROWS).astype(float)
    for row, demand in zip(each, least, strict=True):
        built.at_least([(x, row)], demand)
    return (
        built.program(),
        x,
        milp(cost, integrality=np.ones(COLUMNS), bounds=(0, MOST), constraints=LinearConstraint(each, least)),
    )


@pytest.mark.parametrize("seed", range(1, 4))
def test_a_search_that_is_cut_short_knows_no_more_than_is_true(seed, monkeypatch):
    """A half that time cut off was once taken for one without points. The optimum is that of scipy's `milp`."""
    program, x, optimum = random_program(seed)
    whole = WholeSearch(program, [x], SolveBudget()).search(10**6)
    if not optimum.success:
        assert whole is None or whole.x is None
        return
    assert whole.value == whole.bound == pytest.approx(optimum.fun)
    for most in range(1, 30):
        budget = Solves(most)
        search = WholeSearch(program, [x], budget)
        solve = search._program.solve

        def counted(given, solve=solve, budget=budget):
            answer = solve(given)
            budget.asked += 1
            return answer

        monkeypatch.setattr(search._program, "solve", counted)
        found = search.search(10**6)
        if found is not None:
            assert found.bound <= optimum.fun + 1e-6 <= found.value + 2e-6
