"""What each part of a design costs over the years compared, and the fleet in which a plan weighs them."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Fleet, Floats
from planner.plan import Plan
from planner.prices import Price, price_of, years_factor
from planner.scenarios.designs.design_comparison import Costs

_HOURS = 8760


def costs_of(fleet: Fleet, price: Price, number: float) -> Costs:
    """Return the parts of what ``number`` items of ``price`` cost."""
    factor, policy = years_factor(fleet.policy) * number, fleet.policy
    return Costs(
        price.buy * number,
        price.yearly * factor,
        price.watts / 1000 * _HOURS * policy.kwh_cost * factor,
        price.visits * policy.visit_cost * factor,
    )


def added(*parts: Costs) -> Costs:
    """Return the sum of costs, part by part."""
    names = ("buy", "yearly", "power", "visits", "circuits")
    return Costs(*(sum(getattr(part, name) for part in parts) for name in names))


def host_prices(fleet: Fleet) -> tuple[Price, ...] | None:
    """Return the price of a host in each pool; None if unknown.

    It is that of the sheet Prices, without its price of running where ``host_cost`` gives one for the pool.
    """
    listed, running = price_of(fleet, "host"), fleet.host_running_costs
    if np.isnan(running).any():
        return None
    base = listed or Price()
    given = ~np.isnan(fleet.pools["host_cost"].to_numpy(dtype=np.float64)) | (fleet.policy.host_cost is not None)
    return tuple(
        base.running_at(float(cost)) if own else base for own, cost in zip(given.tolist(), running, strict=True)
    )


def needing(fleet: Fleet) -> Bools:
    """Mark the sites that need a third vote: they run clusters and have none built in, shape (sites,)."""
    needs: Bools = (fleet.clusters > 0) & (fleet.own_tie_breaker != "yes")
    return needs


def weighing(fleet: Fleet, hosts: Floats, stand_alone: float | None) -> Fleet:
    """Return the fleet whose cheapest plan weighs hosts of worth ``hosts`` (pools,) against votes of their own.

    Every site that needs a vote may have its own at ``stand_alone`` for each cluster; None forbids it.
    """
    possible = needing(fleet) & (stand_alone is not None)
    own = np.where(fleet.own_tie_breaker == "yes", "yes", np.where(possible, "possible", "no"))
    price = 0.0 if stand_alone is None else stand_alone
    factor = years_factor(fleet.policy)
    return fleet.replace(
        prices=fleet.prices.iloc[:0],  # all of them are in what follows
        sites=fleet.sites.assign(own_tie_breaker=own.astype(object), own_tie_breaker_cost=price * fleet.clusters),
        pools=fleet.pools.assign(host_cost=hosts),
        latency=fleet.latency.assign(pair_cost=fleet.latency["pair_cost"] * factor),
        policy=fleet.policy.replace(objective="cost", then=""),
    )


def circuits(weighed: Fleet, plan: Plan) -> float:
    """Return the pair costs of ``plan`` in the fleet of `weighing`: its value without hosts and votes."""
    hosts = dict(zip(weighed.pool_ids, weighed.host_costs, strict=True))
    own = dict(zip(weighed.site_ids, weighed.own_tie_breaker_costs, strict=True))
    chosen = chosen_own(weighed, plan)
    rest = plan.objective_value - sum(hosts[host.pool] for host in plan.host_list) - sum(own[site] for site in chosen)
    return max(0.0, float(rest))


def chosen_own(weighed: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the sites to which ``plan`` gives a vote of their own that they do not have yet."""
    possible = {s for s, own in zip(weighed.site_ids, weighed.own_tie_breaker, strict=True) if own == "possible"}
    return tuple(one.site for one in plan.no_host_needed if one.why == "own_tie_breaker" and one.site in possible)
