"""What a rollout has to buy and by when, and what it pays in each year, by owner."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from planner.counted_words import counted, first_few
from planner.fleet import Fleet
from planner.plan import Plan
from planner.prices import lead_days, order_by, price_of
from planner.running import running_hosts
from planner.schedule import BudgetLine, Material, OrderState, Wave

_VISITED = ("host_install", "host_retire")  # steps for which somebody goes to a hub


def materials_of(fleet: Fleet, plan: Plan, waves: Sequence[Wave]) -> tuple[Material, ...]:
    """Return the hosts, own tie-breakers and spare hosts to buy, in order of the day on which they are needed.

    Hosts of one pool that one wave installs are one line. What no wave installs, because steps are left out or because
    nobody moves, has no day. Spare hosts are the policy's share of the hosts of the plan, rounded up; the first wave
    needs them.
    """
    found = [*_hosts(fleet, plan, waves), *_own(fleet, plan, waves), *_spares(fleet, plan, waves)]
    return tuple(sorted(found, key=lambda m: (m.needed_on or dt.date.max, m.item, m.place, m.pool)))


def _hosts(fleet: Fleet, plan: Plan, waves: Sequence[Wave]) -> Iterator[Material]:
    installed = {step.host: (wave.wave, step.starts.date()) for wave in waves for step in wave.steps
                 if step.kind == "host_install"}  # fmt: skip
    groups: dict[tuple[str, int | None], list[str]] = defaultdict(list)
    runs = {host for _, host in running_hosts(fleet).pool}  # some of them since the plan was made
    for host in plan.host_list:
        if not host.existing and host.host not in runs:
            groups[host.pool, installed.get(host.host, (None,))[0]].append(host.host)
    leads, listed, owners = lead_days(fleet), price_of(fleet, "host"), _owners(fleet)
    for (pool, wave), names in groups.items():
        at = fleet.pool_ids.index(pool)
        hub = str(fleet.pools["hub"].iloc[at])
        day = min((installed[name][1] for name in names if name in installed), default=None)
        yearly = float(fleet.host_running_costs[at])
        yield Material(
            "host",
            len(names),
            hub,
            pool,
            tuple(names),
            owners[hub],
            wave,
            day,
            order_by(day, leads.get(pool)) if day is not None else None,
            None if listed is None else listed.buy * len(names),
            None if math.isnan(yearly) else yearly * len(names),
        )


def _own(fleet: Fleet, plan: Plan, waves: Sequence[Wave]) -> Iterator[Material]:
    """Yield the own tie-breakers that the plan chooses; a site with one already says yes, not possible."""
    moved = {step.site: (wave.wave, step.starts.date()) for wave in waves for step in wave.steps
             if step.kind == "move" and step.to_host is None}  # fmt: skip
    listed = price_of(fleet, "own_tie_breaker")
    at_site = {site: at for at, site in enumerate(fleet.site_ids)}
    for spared in plan.no_host_needed:
        at = at_site[spared.site]
        number = int(fleet.clusters[at])
        if spared.why != "own_tie_breaker" or fleet.own_tie_breaker[at] != "possible":
            continue
        wave, day = moved.get(spared.site, (None, None))
        yearly = float(fleet.own_tie_breaker_running_costs[at])
        yield Material(
            "own_tie_breaker",
            number,
            spared.site,
            owner=str(fleet.sites["owner"].iloc[at] or ""),
            wave=wave,
            needed_on=day,
            order_by=order_by(day, fleet.policy.lead_time_days) if day is not None else None,
            buy=None if listed is None else listed.buy * number,
            yearly=None if math.isnan(yearly) else yearly,
        )


def _spares(fleet: Fleet, plan: Plan, waves: Sequence[Wave]) -> Iterator[Material]:
    # Percentages are decimals: 7 % of 100 hosts are 7, and not 8.
    number = math.ceil(round(len(plan.host_list) * fleet.policy.spare_percent / 100, 9))
    if not number:
        return
    first = waves[0] if waves else None
    day = None if first is None else first.starts.date()
    listed = price_of(fleet, "host")
    longest = max(lead_days(fleet).values(), default=None)
    yield Material(
        "spare_host",
        number,
        wave=None if first is None else first.wave,
        needed_on=day,
        order_by=None if day is None else order_by(day, longest),
        buy=None if listed is None else listed.buy * number,
        yearly=0.0,  # on the shelf
    )


def budget_of(fleet: Fleet, materials: Sequence[Material], waves: Sequence[Wave]) -> tuple[BudgetLine, ...]:
    """Return what is paid, by year of the day on which it is needed and by owner.

    A visit is a hub in a wave that installs or switches off hosts there, or a site that gets a tie-breaker of its own.
    """
    lines: dict[tuple[int | None, str], list[Material]] = defaultdict(list)
    visits: dict[tuple[int | None, str], int] = defaultdict(int)
    owners = _owners(fleet)
    for one in materials:
        key = (one.needed_on.year if one.needed_on else None, one.owner)
        lines[key].append(one)
        visits[key] += one.item == "own_tie_breaker"
    for wave in waves:
        for hub in {step.hub for step in wave.steps if step.kind in _VISITED}:
            visits[wave.starts.year, owners.get(hub, "")] += 1
    keys = sorted({*lines, *(key for key, number in visits.items() if number)}, key=lambda k: (k[0] or 9999, k[1]))
    return tuple(_line(fleet, key, lines[key], visits[key]) for key in keys)


def _line(fleet: Fleet, key: tuple[int | None, str], bought: Sequence[Material], visits: int) -> BudgetLine:
    hosts = sum(one.number for one in bought if one.item != "own_tie_breaker")
    own = sum(one.number for one in bought if one.item == "own_tie_breaker")
    buying, running = (_sum([getattr(one, name) for one in bought]) for name in ("buy", "yearly"))
    price = fleet.policy.visit_cost
    return BudgetLine(*key, hosts, own, visits, buying, visits * price if price else None, running)


def _sum(prices: Sequence[float | None]) -> float | None:
    """Return the sum; None where a price is not known, since the rest would look like all of it."""
    known = [price for price in prices if price is not None]
    return math.fsum(known) if len(known) == len(prices) else None


def _owners(fleet: Fleet) -> dict[str, str]:
    """Return who pays for the hosts of each hub: the first of its rows that says so."""
    found: dict[str, str] = {}
    for hub, owner in zip(fleet.pools["hub"], fleet.pools["owner"].astype(str), strict=True):
        found[str(hub)] = found.get(str(hub)) or owner
    return found


def held_against(materials: Sequence[Material], first: dt.date, today: dt.date) -> tuple[Material, ...]:
    """Return ``materials`` with what has become of the days of their orders by ``today``."""

    def state(day: dt.date) -> OrderState:
        return "passed" if day < today else "before the first day" if day < first else "in time"

    return tuple(m if m.order_by is None else replace(m, order_state=state(m.order_by)) for m in materials)


def late_orders(materials: Sequence[Material], first: dt.date) -> tuple[str, ...]:
    """Return cautions on orders whose last day has passed, or comes before the ``first`` day of the rollout."""
    told = []
    if passed := [f"{_named(one)} ({one.order_by})" for one in materials if one.order_state == "passed"]:
        noun = "date of 1 order has" if len(passed) == 1 else f"dates of {counted(len(passed), 'order')} have"
        told.append(
            f"The order-by {noun} passed: {first_few(passed)}. Start the rollout later, or find a faster delivery."
        )
    if ahead := [f"{_named(one)} by {one.order_by}" for one in materials if one.order_state == "before the first day"]:
        told.append(f"Order before the rollout begins on {first}: {first_few(ahead)}.")
    return tuple(told)


def _named(one: Material) -> str:
    if one.item == "host":
        return first_few(list(one.names))
    return counted(one.number, "spare host") if one.item == "spare_host" else f"own tie-breaker of site {one.place}"
