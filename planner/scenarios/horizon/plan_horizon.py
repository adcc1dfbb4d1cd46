"""From a fleet to its horizon: demands of all periods, the multi-period model, and who goes where."""

from __future__ import annotations

import datetime as dt
from typing import Literal

import numpy as np

from planner.counted_words import counted, first_few
from planner.errors import InputError
from planner.fleet import Finding, Fleet, Ints
from planner.prices import price_of
from planner.scenarios.horizon.calendar import periods_from
from planner.scenarios.horizon.demand import Demand, demand_of
from planner.scenarios.horizon.horizon_steps import Horizon, Step
from planner.scenarios.horizon.model import Counts, HorizonModel, Prices, decide
from planner.scenarios.horizon.next_host import next_host
from planner.scenarios.horizon.orders import late_orders, ordered_by
from planner.scenarios.horizon.settle import Settled, residents, residents_after, settle
from planner.sizing import SolveBudget
from planner.version import VERSION

_MONTHS = {"year": 12, "quarter": 3, "month": 1}


def horizon(
    fleet: Fleet,
    first: dt.date,
    *,
    period: Literal["year", "quarter", "month"] | None = None,
    periods: int | None = None,
    move_hosts: bool = False,
    move_cost: float = 0.0,
    time_limit: float | None = None,
    seed: int = 0,
) -> Horizon:
    """Return when and where to add hosts so that every period from the day ``first`` on is served.

    Fewest hosts bought come first, then the least value today of all payments; under the objective ``cost`` money
    alone. Hosts stay where they are unless ``move_hosts``; moving one costs ``move_cost``. ``period`` and ``periods``
    default to the policy. With prices (see `planner.prices`) hosts are paid when bought, and for each
    period in advance; a payment after y years counts (1 + discount_percent / 100)^-y. ``time_limit`` is in seconds; the
    best plan so far comes back with its bounds, also after Ctrl-C.

    Raises InputError for what is not modelled (cover, limits on uplinks, hubs, zones or the weight on hosts), or a
    missing price under ``cost``.
    """
    asked = {name: value for name, value in (("period", period), ("periods", periods)) if value is not None}
    fleet = fleet.replace(policy=fleet.policy.replace(**asked))
    unit = fleet.policy.period
    budget = SolveBudget(seconds=time_limit, seed=seed)
    with budget.listening():
        spans = periods_from(first, unit, fleet.policy.periods)
        demands = [demand_of(fleet, span, SolveBudget(seed=seed, stopped=budget.stopped)) for span in spans]
        if budget.stopped.is_set():
            raise KeyboardInterrupt  # what the periods ask for is not known, so there is nothing to keep
        existing = fleet.existing_hosts[demands[0].problem.pool_at]
        money_first = fleet.policy.objective == "cost"
        worth, paid, priced = _prices(fleet, demands, _MONTHS[unit] / 12, move_cost, money_first=money_first)
        kinds = np.array([_kinds(demand) for demand in demands])
        model = HorizonModel(demands, existing, kinds, move_hosts=move_hosts)
        counts = decide(model, worth, budget, money_first=money_first)
        steps = _steps(fleet, demands, counts, worth if priced else None, paid if priced else None, budget)
        needed = next_host(fleet, demands, counts.hosts, counts.bought, existing)
    return Horizon(
        objective="cost" if money_first else "hosts",
        bought=counts.total,
        bought_bound=counts.total_bound,
        worth=counts.worth if priced else None,
        worth_bound=counts.worth_bound if priced else None,
        steps=steps,
        next_host=needed,
        notes=(*_notes(fleet), *late_orders(steps), *_left_in_place(fleet, steps[0])),
        sources=fleet.sources,
        currency=fleet.policy.currency,
        version=VERSION,
        served_proven=all(demand.served_proven for demand in demands),
        left_out_today=len(set(fleet.current["site"]).intersection(s for d in demands for s in d.unserved)),
    )


def _notes(fleet: Fleet) -> tuple[Finding, ...]:
    notes = []
    possible = int((fleet.own_tie_breaker == "possible").sum())
    if possible:
        message = (
            f"Own tie-breakers of {possible:,} sites are possible; they stay on shared hosts where one serves them."
        )
        notes.append(Finding("info", "horizon_own", "", message, "Set own_tie_breaker to yes for sites that get one."))
    if (fleet.latency["pair_cost"].fillna(0) > 0).any():
        notes.append(Finding("warning", "horizon_pair_cost", "", "Pair costs are not part of the horizon.", ""))
    return tuple(notes)


def _left_in_place(fleet: Fleet, step: Step) -> tuple[Finding, ...]:
    """Say of sites that are served today and have no place in the first period that they stay where they are."""
    unserved = set(step.unserved)
    rows = zip(fleet.current["site"], fleet.current["hub"], fleet.current["host"], strict=True)
    sites = [f"{site} on {host or hub}" for site, hub, host in rows if site in unserved]
    if not sites:
        return ()
    verb = "is" if len(sites) == 1 else "are"
    message = (
        f"{counted(len(sites), 'site')} that {verb} served today {verb} unserved from {step.period.name} on: "
        f"{first_few(sites)}. The figures leave them out, but the plan does not remove them from their hosts."
    )
    return (Finding("warning", "horizon_left_out", "", message, "See castingvote explain for what would serve them."),)


def _kinds(demand: Demand) -> Ints:
    """Return a number for each pool (P,), equal where hosts of one pool can stand in for hosts of the other."""
    fleet = demand.fleet
    keys = [(int(fleet.cluster_caps[at]), fleet.host_releases[at]) for at in demand.problem.pool_at]
    return np.array([keys.index(key) for key in keys], dtype=np.int64)


def _prices(
    fleet: Fleet, demands: list[Demand], years: float, move_cost: float, *, money_first: bool
) -> tuple[Prices, Prices, bool]:
    """Return values today and payments (T, P), and whether anything is known of them.

    Buying costs what the sheet Prices says, running what `planner.prices` calls a yearly price. Without prices a host
    counts 1 for each period that it stands, so that buying late is better.
    """
    host = price_of(fleet, "host")
    running = np.array([demand.fleet.host_running_costs[demand.problem.pool_at] for demand in demands])
    if np.isnan(running).any() and money_first:
        message = "The objective is cost, but some pool has no price of a host."
        raise InputError((Finding("error", "horizon_prices", "Prices", message, "Add host to Prices, or host_cost."),))
    shape = running.shape
    if np.isnan(running).any():
        nothing = Prices(np.zeros(shape), np.zeros(shape), np.ones(shape))
        return nothing, nothing, False
    buy = 0.0 if host is None else host.buy
    paid = Prices(np.full(shape, buy), np.full(shape, move_cost), running * years)
    factor = (1.0 + fleet.policy.discount_percent / 100.0) ** -(years * np.arange(len(demands)))[:, None]
    return Prices(paid.buy * factor, paid.move * factor, paid.run * factor), paid, True


def _steps(
    fleet: Fleet, demands: list[Demand], counts: Counts, worth: Prices | None, paid: Prices | None, budget: SolveBudget
) -> tuple[Step, ...]:
    before = residents(fleet, demands)
    steps = []
    for t, demand in enumerate(demands):
        settled = settle(demand, counts.hosts[t], before, budget)
        before = residents_after(before, demand.fleet, settled)
        steps.append(_step(demand, counts, t, settled, _sum(worth, counts, t), _sum(paid, counts, t)))
    return tuple(steps)


def _sum(prices: Prices | None, counts: Counts, t: int) -> float | None:
    if prices is None:
        return None
    pairs = ((prices.buy, counts.bought), (prices.move, counts.moved_in), (prices.run, counts.hosts))
    return float(sum(price[t] @ number[t] for price, number in pairs))


def _step(demand: Demand, counts: Counts, t: int, settled: Settled, worth: float | None, cost: float | None) -> Step:
    pools = [demand.fleet.pool_ids[at] for at in demand.problem.pool_at]

    def some(numbers: Ints) -> tuple[tuple[str, int], ...]:
        return tuple((pools[p], int(n)) for p, n in enumerate(numbers) if n)

    return Step(
        period=demand.period,
        sites=demand.problem.sites,
        clusters=int(demand.problem.clusters.sum()),
        hosts=some(counts.hosts[t]),
        room=int(counts.hosts[t] @ demand.problem.caps),
        least=demand.least,
        least_proven=demand.least_proven,
        bought=some(counts.bought[t]),
        moved_in=some(counts.moved_in[t]),
        retired=some(counts.retired[t]),
        moves=settled.moves,
        forced=settled.forced,
        moves_proven=settled.proven,
        unserved=demand.unserved,
        cost=cost,
        worth=worth,
        order_by=ordered_by(demand.fleet, some(counts.bought[t]), demand.period.first),
    )
