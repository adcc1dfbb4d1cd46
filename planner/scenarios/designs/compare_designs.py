"""From a fleet to its designs compared."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from planner.counted_words import counted
from planner.errors import InputError
from planner.explain.bench import planned
from planner.fleet import Finding, Fleet, Floats
from planner.plan import Plan
from planner.prices import price_of, years_factor
from planner.rules import Checker
from planner.scenarios.designs.design_comparison import Choice, Comparison, Costs, Design, Segment
from planner.scenarios.designs.flips import Line, flip_prices
from planner.scenarios.designs.pricing import (
    added,
    chosen_own,
    circuits,
    costs_of,
    host_prices,
    needing,
    weighing,
)
from planner.scenarios.designs.uptime import minutes_of_dedicated, minutes_of_plan, minutes_of_three_nodes
from planner.sizing import Mix, Mixes, SolveBudget
from planner.version import VERSION

THREE_NODES = "three nodes"
SHARED = "two nodes, shared tie-breaker"
DEDICATED = "two nodes, dedicated tie-breaker"
OWN = "two nodes, own tie-breaker"
MIX = "two nodes, best mix"


def compare_designs(
    fleet: Fleet,
    *,
    most_plans: int = 200,
    time_limit: float | None = None,
    seed: int = 0,
    tell: Callable[[str], None] = lambda _words: None,
) -> Comparison:
    """Return what each design takes and costs, the cheapest mix per site, and the prices at which it flips.

    Prices come from the sheet Prices and ``host_cost``, valued over the policy's ``years`` (see
    `planner.prices`). Without a price of hosts every host counts 1 and flip prices are in hosts. At most
    ``most_plans`` plans are made; after ``time_limit`` seconds or Ctrl-C, flip prices found so far come back,
    ``complete`` False. Raises InputError where sites may be split, for which own votes are not weighed.
    """
    if fleet.policy.split_sites:
        hint = "Set split_sites to no."
        message = "Designs are compared for whole sites only, but the policy allows split sites."
        raise InputError((Finding("error", "designs_split", "Policy", message, hint),))
    budget = SolveBudget(seconds=time_limit, seed=seed)
    with budget.listening():
        return _compared(_Desk(fleet, budget, tell), most_plans)


def _compared(desk: _Desk, most_plans: int) -> Comparison:
    fleet = desk.fleet
    price, stand_alone = desk.stand_alone()
    shared = desk.plan(None)
    mix = desk.plan(price) if price is not None else None
    segments, complete = desk.flips(most_plans)
    designs = [desk.three_nodes(), desk.shared(SHARED, None, shared), desk.dedicated(), desk.own()]
    if mix is not None:
        designs.append(desk.shared(MIX, price, mix))
    return Comparison(
        designs=tuple(designs),
        segments=segments,
        choices=desk.choices(shared if mix is None else mix, segments),
        unit=(fleet.policy.currency or "money") if desk.hosts is not None else "hosts",
        stand_alone=stand_alone,
        price=price,
        years=fleet.policy.years,
        complete=complete,
        notes=desk.notes(),
        sources=fleet.sources,
        version=VERSION,
    )


class _Desk:
    """One fleet with its prices, and the plans that weigh them."""

    def __init__(self, fleet: Fleet, budget: SolveBudget, tell: Callable[[str], None]) -> None:
        self.fleet, self._effort, self._tell = fleet, budget, tell
        self.hosts = host_prices(fleet)
        policy = fleet.policy
        self.worth: Floats = np.array(
            [1.0] * len(fleet.pool_ids) if self.hosts is None else [price.worth(policy) for price in self.hosts]
        )
        self.node, self.own_price = price_of(fleet, "node"), price_of(fleet, "own_tie_breaker")
        self.needs = needing(fleet)
        self.clusters = int(fleet.clusters[self.needs].sum())
        pairs = Checker.of(fleet).eligible()
        self.reach: Floats = np.full(len(fleet.site_ids), np.inf)
        np.minimum.at(self.reach, pairs.site, self.worth[pairs.pool])

    def stand_alone(self) -> tuple[float | None, str]:
        """Return the cheapest vote that serves one cluster alone, and its name."""
        policy = self.fleet.policy
        known = []
        if self.hosts is not None and self.own_price is not None:
            known.append((self.own_price.worth(policy), "an own tie-breaker"))
        if self.hosts is not None and self.node is not None:
            known.append((self.node.worth(policy), "a third node"))
        return min(known, default=(None, ""))

    def plan(self, price: float | None) -> Plan:
        """Return the cheapest plan where a vote of its own costs ``price`` a cluster; None forbids them."""
        return planned(weighing(self.fleet, self.worth, price), self._effort)

    def flips(self, most: int) -> tuple[tuple[Segment, ...], bool]:
        """Return the segments between flip prices."""
        highest = 4 * float(self.worth.max(initial=1.0)) + float(self.fleet.latency["pair_cost"].fillna(0).sum())
        made: dict[float, Line] = {}
        mixes = Mixes.of(weighing(self.fleet, self.worth, highest))

        def best_at(price: float) -> Line:
            if price not in made:
                self._tell(f"break-even prices, {counted(len(made), 'plan')} so far")
                mix = None if mixes is None else mixes.at(price, self._effort)
                made[price] = self._line(self.plan(price), price) if mix is None else self._line_of(mix)
            return made[price]

        return flip_prices(best_at, highest, lambda plans: plans < most and not self._effort.spent)

    def _line(self, plan: Plan, price: float) -> Line:
        weighed = weighing(self.fleet, self.worth, price)
        sites = chosen_own(weighed, plan)
        proven = plan.proves(plan.objective)
        fixed = self._hosts_worth(plan) + circuits(weighed, plan)
        return Line(fixed, self._clusters_at(sites), plan.hosts, proven, sites)

    def _line_of(self, mix: Mix) -> Line:
        """Return a mix as a line; pairs cost nothing where there is one."""
        fixed = math.fsum((self.worth * mix.hosts).tolist())
        return Line(fixed, self._clusters_at(mix.own_sites), int(mix.hosts.sum()), mix.proven, mix.own_sites)

    def _clusters_at(self, sites: Sequence[str]) -> int:
        size = dict(zip(self.fleet.site_ids, self.fleet.clusters, strict=True))
        return int(sum(size[site] for site in sites))

    def _hosts_worth(self, plan: Plan) -> float:
        worth = dict(zip(self.fleet.pool_ids, self.worth, strict=True))
        return math.fsum(worth[host.pool] for host in plan.host_list)

    def _node_costs(self, each: int) -> Costs | None:
        return None if self.node is None else costs_of(self.fleet, self.node, each * self.clusters)

    def _design(
        self, name: str, hosts: int, own: int, unserved: int, costs: list[Costs | None], each: int = 2
    ) -> Design:
        parts = [part for part in costs if part is not None]
        known = self.hosts is not None and len(parts) == len(costs)
        sites = int(self.needs.sum()) - unserved
        total = added(*parts) if known else None
        a_year = None if total is None else total.total / years_factor(self.fleet.policy)
        return Design(name, each * self.clusters, hosts, own, sites, unserved, total, a_year=a_year)

    def three_nodes(self) -> Design:
        """Return the design in which a third data node is the third vote."""
        found = self._design(THREE_NODES, 0, 0, 0, [self._node_costs(3)], 3)
        return replace(found, down_minutes=minutes_of_three_nodes(self.fleet, self.needs))

    def own(self) -> Design:
        """Return the design in which every cluster has its own tie-breaker."""
        price = self.own_price
        costs = None if price is None else costs_of(self.fleet, price, self.clusters)
        return self._design(OWN, 0, self.clusters, 0, [*self._nodes(), costs])

    def _nodes(self) -> list[Costs | None]:
        """Return the costs of two nodes a cluster; nothing without their price: designs of two still compare."""
        return [] if self.node is None else [self._node_costs(2)]

    def dedicated(self) -> Design:
        """Return the design in which every cluster has a host for itself, at the cheapest pool in reach."""
        found = self.needs & np.isfinite(self.reach)
        hosts = int(self.fleet.clusters[found].sum())
        unserved = int((self.needs & ~found).sum())
        minutes = minutes_of_dedicated(self.fleet, self.needs, self.worth)
        if self.hosts is None:
            return replace(self._design(DEDICATED, hosts, 0, unserved, [None]), down_minutes=minutes)
        price_at = dict(zip(self.worth.tolist(), self.hosts, strict=True))
        number: Counter[float] = Counter()
        for worth, clusters in zip(self.reach[found].tolist(), self.fleet.clusters[found].tolist(), strict=True):
            number[worth] += clusters
        costs = [costs_of(self.fleet, price_at[worth], count) for worth, count in number.items()]
        return replace(self._design(DEDICATED, hosts, 0, unserved, [*self._nodes(), *costs]), down_minutes=minutes)

    def shared(self, name: str, price: float | None, plan: Plan) -> Design:
        """Return a plan on shared hosts, with votes of their own where ``price`` allows them."""
        weighed = weighing(self.fleet, self.worth, price)
        sites = chosen_own(weighed, plan)
        own = self._clusters_at(sites)
        costs = self._nodes()
        if self.hosts is not None:
            listed = dict(zip(self.fleet.pool_ids, self.hosts, strict=True))
            hosts = Counter(host.pool for host in plan.host_list)
            costs += [costs_of(self.fleet, listed[pool], number) for pool, number in sorted(hosts.items())]
            costs.append(Costs(circuits=circuits(weighed, plan)))
            kind = self.own_price if self.stand_alone()[1] == "an own tie-breaker" else self.node
            costs += [costs_of(self.fleet, kind, own)] if own and kind is not None else []
        found = self._design(name, plan.hosts, own, len(plan.unserved), costs)
        return replace(found, proven=plan.proves(plan.objective), down_minutes=minutes_of_plan(self.fleet, plan))

    def choices(self, plan: Plan, segments: tuple[Segment, ...]) -> tuple[Choice, ...]:
        """Return what ``plan`` does for each site, and up to which price it has its own vote."""
        below: dict[str, float] = {}
        for segment in segments:
            for site in segment.own_sites:
                below[site] = max(below.get(site, 0.0), segment.high)
        pool = {host.host: host.pool for host in plan.host_list}
        served = {a.site: pool[a.host] for a in plan.assignments}
        unserved = {one.site for one in plan.unserved}
        return tuple(
            Choice(
                site,
                int(clusters),
                "unserved" if site in unserved else "shared" if site in served else "own",
                served.get(site, ""),
                below.get(site, 0.0),
            )
            for site, clusters, need in sorted(
                zip(self.fleet.site_ids, self.fleet.clusters, self.needs, strict=True), key=lambda row: row[0]
            )
            if need
        )

    def notes(self) -> tuple[Finding, ...]:
        """Return which prices are missing."""
        hint = "Add it to the sheet Prices."
        missing = [
            (
                self.hosts is None,
                "host",
                "No price of a host is known. Costs are left out. Prices of own tie-breakers are multiples "
                "of a host's price.",
            ),
            (self.node is None, "node", "Data nodes are left out of the costs: their price is not known."),
            (
                self.own_price is None,
                "own_tie_breaker",
                "The price of an own tie-breaker is not known, so no cheapest mix is computed.",
            ),
        ]
        return tuple(
            Finding("info", "price_missing", f"Prices {item}", words, hint) for gone, item, words in missing if gone
        )
