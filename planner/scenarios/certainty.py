"""How sure a plan's latency budgets hold when round-trip times are uncertain: Monte Carlo over assigned pairs.

A draw gives every assigned pair the RTT  r exp(h Z_hub).  Where the pair has probes on the sheet Samples and no row on
Latency, r is one of its probes, drawn with replacement (a lost one is late for ever); elsewhere r is the plan's
figure times exp(s Z_pair), so that the figure is the median. Z are independent and standard normal; all pairs of one
hub share its Z_hub, because a slow provider slows them all. s and h are sqrt(ln(1 + c^2)), the sigma of a log-normal
variable with coefficient of variation c (N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate
Distributions, vol. 1 (1994), ch. 14). The budgets are those of the fleet at hand, whatever budgets the scenario
planned with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from planner.columns import Column
from planner.fleet import Fleet, Floats, Ints, fitted, positions
from planner.plan import Assignment, Plan
from planner.scenarios.sweep_results import Certainty

_BATCH = 2_000_000  # values drawn at once
_ASKED = (
    Column("pair_percent", "number", "", "%", least=0, most=1000),
    Column("hub_percent", "number", "", "%", least=0, most=1000),
    Column("draws", "whole", "", least=2, most=1_000_000),
    Column("seed", "whole", "", least=0, most=2**31 - 1),
)
_NORMAL_95 = 1.959963984540054  # 97.5 % point of the standard normal distribution


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Coefficients of variation in percent, of each pair and of each hub as a whole; how often to draw; the seed.

    Raises InputError for figures that are none of that.
    """

    pair_percent: float
    hub_percent: float = 0.0
    draws: int = 1000
    seed: int = 0

    def __post_init__(self) -> None:
        fitted("", [(asked, getattr(self, asked.name), 0) for asked in _ASKED])


def certainty_of(fleet: Fleet, changed: Fleet, plan: Plan, uncertainty: Uncertainty) -> Certainty | None:
    """Return how often the sites that ``plan`` assigns stay within the budgets of ``fleet``; None without assignments.

    ``changed`` is the fleet that was planned. A site that only it has keeps the budget it has there. The share within
    budget has a normal 95 % interval over draws, the chance that all are within it the interval of E. B. Wilson,
    J. American Statistical Association 22 (1927) 209-212. The same seed gives the same draws.
    """
    rows = plan.assignments
    if not rows:
        return None
    site = positions([a.site for a in rows], fleet.site_ids)
    budgets = np.where(site >= 0, fleet.budgets_ms[site], [a.budget_ms for a in rows])
    shares = _shares(_Draws.of(changed, rows), np.log(budgets), uncertainty)
    mean = float(shares.mean())
    half = _NORMAL_95 * float(shares.std(ddof=1)) / math.sqrt(len(shares)) if len(shares) > 1 else 1.0
    sure = int((shares == 1.0).sum())
    return Certainty(
        mean, max(0.0, mean - half), min(1.0, mean + half), sure / len(shares), *_wilson(sure, len(shares)), len(shares)
    )


def _wilson(sure: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share by E. B. Wilson, J. American Statistical Association 22 (1927) 209-212."""
    from scipy.stats import binomtest  # here, because every command would wait a fifth longer for it

    found = binomtest(sure, of).proportion_ci(confidence_level=0.95, method="wilson")
    return found.low, found.high


@dataclass(frozen=True)
class _Draws:
    """What RTTs of the assigned pairs (X,) are drawn from.

    ``log_rtt`` (X,), or ``count`` (X,) log probes from ``first`` (X,) on in ``probes``; ``hub`` (X,) numbers hubs.
    """

    log_rtt: Floats
    hub: Ints
    probes: Floats
    first: Ints
    count: Ints

    @classmethod
    def of(cls, fleet: Fleet, rows: tuple[Assignment, ...]) -> _Draws:
        """Return the sources of ``rows``, among them the probes of pairs that the sheet Latency does not state."""
        stated = fleet.latency[fleet.latency["rtt_ms"].notna()]
        stated_pairs = set(zip(stated["site"], stated["hub"], strict=True))
        at: dict[tuple[str, str], list[float]] = {}
        wanted = {(a.site, a.hub) for a in rows} - stated_pairs
        samples = fleet.samples
        for site, hub, rtt in zip(samples["site"], samples["hub"], samples["rtt_ms"], strict=True):
            if (site, hub) in wanted:
                at.setdefault((site, hub), []).append(math.inf if math.isnan(rtt) else math.log(rtt))
        probes = [at.get((a.site, a.hub), []) for a in rows]
        count = np.array([len(one) for one in probes], dtype=np.int64)
        return cls(
            log_rtt=np.log([a.rtt_ms for a in rows]),
            hub=np.unique([a.hub for a in rows], return_inverse=True)[1].astype(np.int64),
            probes=np.array([value for one in probes for value in one] or [0.0]),
            first=np.concatenate(([0], np.cumsum(count)[:-1])).astype(np.int64),
            count=count,
        )

    def draw(self, rng: np.random.Generator, rows: int, uncertainty: Uncertainty) -> Floats:
        """Return logarithms of RTTs, shape (rows, X)."""
        pair, hub = (_sigma(percent) for percent in (uncertainty.pair_percent, uncertainty.hub_percent))
        found = self.log_rtt + pair * rng.standard_normal((rows, len(self.hub)))
        probed = np.flatnonzero(self.count)
        if len(probed):
            pick = (rng.random((rows, len(probed))) * self.count[probed]).astype(np.int64)
            found[:, probed] = self.probes[self.first[probed] + pick]
        found += hub * rng.standard_normal((rows, int(self.hub.max()) + 1))[:, self.hub]
        return np.asarray(found)


def _shares(draws: _Draws, log_budgets: Floats, uncertainty: Uncertainty) -> Floats:
    """Return the share of pairs within budget in each draw, shape (draws,)."""
    rng = np.random.default_rng(uncertainty.seed)
    shares = []
    left, at_once = uncertainty.draws, max(1, _BATCH // len(log_budgets))
    while left > 0:
        rows = min(left, at_once)
        shares.append((draws.draw(rng, rows, uncertainty) <= log_budgets).mean(axis=1))
        left -= rows
    return np.concatenate(shares)


def _sigma(percent: float) -> float:
    return math.sqrt(math.log1p((percent / 100.0) ** 2))
