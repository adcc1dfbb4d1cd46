"""The question as one CP-SAT model, host by host, solved aim after aim.

Variables: ``on[h]`` a host runs; ``home[s, h]`` clusters of a site on a host; ``served[s]``; ``own[s]``; with cover
``standby[s, h]`` and, for every loss l that may take the home and spare the standby, ``displaced[s, l, h]``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from ortools.sat.python import cp_model

from tests.independent.reading import Pool, Question, Site

AIMS = ("moves", "latency", "margin", "spread")
UPWARDS = ("kept_served", "served", "covered", "margin", "kept")  # aims that are to be large
MS = 10**6  # round-trip times are told apart to a nanosecond

Host = tuple[str, int]  # pool, number
Linear = cp_model.LinearExprT


class Unsettled(Exception):
    """CP-SAT did not prove its answer in time."""


class Model:
    """One question; `best` optimises an aim under all that `fix` has fixed before."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self.model = cp_model.CpModel()
        self.pool_of: dict[Host, Pool] = {(p.name, n): p for p in question.pools for n in range(p.hosts)}
        self.on = {host: self.model.new_bool_var(f"on {host}") for host in self.pool_of}
        for (name, number), pool in self.pool_of.items():
            if number > len(pool.named):  # hosts without a name are alike
                self.model.add_implication(self.on[name, number], self.on[name, number - 1])
        self._racks()
        self._homes()
        self._loads()
        self._limits()
        self.has_standby: dict[str, Linear] = {}
        if question.cover != "none":
            self._standbys_of_clusters() if question.split else self._standbys()

    # Who is where.

    def _homes(self) -> None:
        self.home: dict[tuple[str, Host], Linear] = {}
        self.served: dict[str, cp_model.IntVar] = {}
        self.own: dict[str, cp_model.IntVar] = {}
        self.uses: dict[tuple[str, str], cp_model.IntVar] = {}  # site and pool
        for site in self.question.sites:
            on_hosts = self.model.new_bool_var(f"served {site.name}")
            own = self.model.new_bool_var(f"own {site.name}")
            self.served[site.name], self.own[site.name] = on_hosts, own
            self.model.add(on_hosts + own <= 1)
            if site.own_cost is None:
                self.model.add(own == 0)
            for host in self._hosts_for(site):
                self.home[site.name, host] = self._seat(site, host)
            self.model.add(sum(self._of(site)) == site.clusters * on_hosts)
            for pool in self._pools_for(site):
                at_pool = [self.home[site.name, h] for h in self._hosts_for(site) if h[0] == pool.name]
                uses = self.model.new_bool_var(f"uses {site.name} {pool.name}")
                self.uses[site.name, pool.name] = uses
                self.model.add(sum(at_pool) <= site.clusters * uses)
                self.model.add(sum(at_pool) >= uses)

    def _seat(self, site: Site, host: Host) -> Linear:
        """Return the clusters of a site on a host: any number where sites may be split, else none or all."""
        if self.question.split:
            seat = self.model.new_int_var(0, site.clusters, f"home {site.name} {host}")
            self.model.add(seat <= site.clusters * self.on[host])
            return seat
        seat = self.model.new_bool_var(f"home {site.name} {host}")
        self.model.add_implication(seat, self.on[host])
        return site.clusters * seat

    def _pools_for(self, site: Site, *, standby: bool = False) -> list[Pool]:
        known = ((pool, self.question.pairs.get((site.name, pool.name))) for pool in self.question.pools)
        return [pool for pool, pair in known if pair is not None and (standby or pair.every_day)]

    def _hosts_for(self, site: Site, *, standby: bool = False) -> list[Host]:
        return [(pool.name, n) for pool in self._pools_for(site, standby=standby) for n in range(pool.hosts)]

    def _of(self, site: Site) -> list[Linear]:
        return [self.home[site.name, host] for host in self._hosts_for(site)]

    # What a hub may hold, and what a host, hub and zone may carry.

    def _racks(self) -> None:
        for hub, units in self.question.rack_units.items():
            taken = [pool.rack_units * self.on[host] for host, pool in self.pool_of.items() if pool.hub == hub]
            self.model.add(sum(taken) <= units)

    def _loads(self) -> None:
        self.load = {host: sum(self._terms({host})) for host in self.on}
        for host, load in self.load.items():
            self.model.add(load <= self.pool_of[host].usable * self.on[host])
        for hub, kbps in self.question.uplink_kbps.items():
            terms = [
                (site.kbps, self.home[site.name, host])
                for site in self.question.sites
                for host in self._hosts_for(site)
                if self.pool_of[host].hub == hub
            ]
            self._at_most(terms, kbps)

    def _terms(self, hosts: set[Host]) -> list[Linear]:
        return [seat for (_, host), seat in self.home.items() if host in hosts]

    def _limits(self) -> None:
        for kind, places in (("", [{h} for h in self.on]), ("_hub", self._hubs()), ("_zone", self._zones())):
            most = self.question.most(f"max_blast_radius{kind}")
            share = self.question.most(f"max_share_percent{kind}")
            for hosts in places:
                if most is not None:
                    self.model.add(sum(self._terms(hosts)) <= math.floor(most))
                if share is not None:
                    terms = [
                        (site.weight / site.clusters, self.home[site.name, host])
                        for site in self.question.sites
                        for host in self._hosts_for(site)
                        if host in hosts
                    ]
                    self._at_most(terms, share * self.question.whole_weight / 100)

    def _hubs(self) -> list[set[Host]]:
        hubs = dict.fromkeys(pool.hub for pool in self.question.pools)
        return [{host for host, pool in self.pool_of.items() if pool.hub == hub} for hub in hubs]

    def _zones(self) -> list[set[Host]]:
        zones = self.question.zones.values()
        return [{host for host, pool in self.pool_of.items() if pool.hub in hubs} for hubs in zones]

    def _at_most(self, terms: list[tuple[Fraction, Linear]], most: Fraction) -> None:
        scale = math.lcm(most.denominator, *(factor.denominator for factor, _ in terms))
        self.model.add(sum(int(factor * scale) * term for factor, term in terms) <= int(most * scale))

    # Cover.

    def _losses(self) -> list[set[Host]]:
        """Return what may be lost at once."""
        kinds = {"host": [{host} for host in self.on], "hub": self._hubs(), "zone": self._zones()}
        return [loss for loss in kinds[self.question.cover] if loss]

    def _standbys(self) -> None:
        losses = self._losses()
        standby: dict[tuple[str, Host], cp_model.IntVar] = {}
        for site in self.question.sites:
            for host in self._hosts_for(site, standby=True):
                standby[site.name, host] = self.model.new_bool_var(f"standby {site.name} {host}")
                self.model.add_implication(standby[site.name, host], self.on[host])
            chosen = [standby[site.name, host] for host in self._hosts_for(site, standby=True)]
            self.model.add(sum(chosen) <= self.served[site.name])
            self.has_standby[site.name] = sum(chosen)
        for loss in losses:
            arriving: dict[Host, list[Linear]] = {}
            for site in self.question.sites:
                homes = [self.home[site.name, h] for h in self._hosts_for(site) if h in loss]
                if not homes:
                    continue
                for host in self._hosts_for(site, standby=True):
                    if host in loss:  # both would be lost together
                        self.model.add(sum(homes) == 0).only_enforce_if(standby[site.name, host])
                        continue
                    comes = self.model.new_bool_var("displaced")
                    self.model.add(site.clusters * comes >= sum(homes) + site.clusters * (standby[site.name, host] - 1))
                    arriving.setdefault(host, []).append(site.clusters * comes)
            for host, coming in arriving.items():
                self.model.add(self.load[host] + sum(coming) <= self.pool_of[host].in_loss)

    def _standbys_of_clusters(self) -> None:
        """Let each cluster have a standby of its own; a site is covered if all of them have one."""
        losses = self._losses()
        arriving: dict[tuple[int, Host], list[Linear]] = {}
        for site in self.question.sites:
            stands: list[Linear] = []
            for home in self._hosts_for(site):
                hit = [number for number, loss in enumerate(losses) if home in loss]
                others = [h for h in self._hosts_for(site, standby=True) if all(h not in losses[n] for n in hit)]
                sent = [self.model.new_int_var(0, site.clusters, f"{site.name} {home} {other}") for other in others]
                self.model.add(sum(sent) <= self.home[site.name, home])
                for other, clusters in zip(others, sent, strict=True):
                    self.model.add(clusters <= site.clusters * self.on[other])
                    for number in hit:
                        arriving.setdefault((number, other), []).append(clusters)
                stands += sent
            covered = self.model.new_bool_var(f"covered {site.name}")
            self.model.add(sum(stands) >= site.clusters * covered)
            self.model.add_implication(covered, self.served[site.name])
            self.has_standby[site.name] = covered
        for (_, host), coming in arriving.items():
            self.model.add(self.load[host] + sum(coming) <= self.pool_of[host].in_loss)

    # Aims.

    def aim(self, name: str) -> tuple[Linear, int]:
        """Return what an aim counts, and by how much it is scaled to be whole."""
        return getattr(self, f"_aim_{name}")()

    def _aim_kept_served(self) -> tuple[Linear, int]:
        """Weight of the sites that are served today and stay served."""
        sites = [site for site in self.question.sites if site.today]
        return self._scaled((site.weight, self.served[site.name] + self.own[site.name]) for site in sites)

    def _aim_served(self) -> tuple[Linear, int]:
        sites = self.question.sites
        return self._scaled((site.weight, self.served[site.name] + self.own[site.name]) for site in sites)

    def _aim_covered(self) -> tuple[Linear, int]:
        """A site with its own tie-breaker loses nothing by any loss elsewhere."""
        sites = self.question.sites
        return self._scaled((site.weight, self.has_standby[site.name] + self.own[site.name]) for site in sites)

    def _aim_hosts(self) -> tuple[Linear, int]:
        return sum(self.on.values()), 1

    def _aim_new_hosts(self) -> tuple[Linear, int]:
        new = []
        for pool in self.question.pools:
            new.append(self.model.new_int_var(0, pool.hosts, f"new {pool.name}"))
            self.model.add(new[-1] >= sum(self.on[pool.name, n] for n in range(pool.hosts)) - pool.existing)
        return sum(new), 1

    def _aim_cost(self) -> tuple[Linear, int]:
        return self._scaled(self._money())

    def _aim_own(self) -> tuple[Linear, int]:
        """The sites whose own tie-breakers the plan chose."""
        return sum(self.own.values()), 1

    def _aim_own_cost(self) -> tuple[Linear, int]:
        """What the own tie-breakers that the plan chose cost."""
        return self._scaled((s.own_cost, self.own[s.name]) for s in self.question.sites if s.own_cost is not None)

    def _money(self) -> Iterator[tuple[Fraction, Linear]]:
        yield from ((self.pool_of[host].price, on) for host, on in self.on.items())
        yield from ((site.own_cost, self.own[site.name]) for site in self.question.sites if site.own_cost is not None)
        hub_of = {pool.name: pool.hub for pool in self.question.pools}
        at_hub: dict[tuple[str, str], list[str]] = {}
        for site, pool in self.uses:
            at_hub.setdefault((site, hub_of[pool]), []).append(pool)
        for (site, _), pools in at_hub.items():  # one circuit, whatever pools it leads to; sites are not split here
            yield self.question.pairs[site, pools[0]].cost, sum(self.uses[site, pool] for pool in pools)

    def _aim_moves(self) -> tuple[Linear, int]:
        """Sites of Current whose host changes, or that need none any more; those that are left out are none."""
        moves: list[Linear] = [len(self.question.spared)]
        for site in self.question.sites:
            if site.today is None:
                continue
            elsewhere = [self.home[site.name, h] for h in self._hosts_for(site) if not self._is_home_today(site, h)]
            leaves = self.model.new_bool_var(f"leaves {site.name}")
            self.model.add(sum(elsewhere) <= site.clusters * leaves)
            moves += [leaves, self.own[site.name]]
        return sum(moves), 1

    def _aim_kept(self) -> tuple[Linear, int]:
        """Clusters that stay on the host of today."""
        sites = [site for site in self.question.sites if site.today is not None]
        seats = [(site, host) for site in sites for host in self._hosts_for(site) if self._is_home_today(site, host)]
        return sum(self.home[site.name, host] for site, host in seats), 1

    def _is_home_today(self, site: Site, host: Host) -> bool:
        assert site.today is not None
        pool, number = self.pool_of[host], host[1]
        if site.today.host:
            return host[0] == site.today.pool and (*pool.named, *[""] * pool.hosts)[number] == site.today.host
        runs = number < max(pool.existing, len(pool.named))
        return runs and (pool.name == site.today.pool if site.today.pool else pool.hub == site.today.hub)

    def _aim_latency(self) -> tuple[Linear, int]:
        pairs = self.question.pairs
        return sum(round(pairs[pair].rtt_ms * MS) * uses for pair, uses in self.uses.items()), MS

    def _aim_margin(self) -> tuple[Linear, int]:
        """The smallest margin of all pairs in use; 0 where nobody uses a host."""
        margins = {pair: round(self.question.pairs[pair].margin_ms * MS) for pair in self.uses}
        most = max(margins.values(), default=0)
        smallest = self.model.new_int_var(0, most, "margin")
        for pair, uses in self.uses.items():
            self.model.add(smallest <= margins[pair]).only_enforce_if(uses)
        self.model.add(smallest <= most * sum(self.uses.values()))
        return smallest, MS

    def _aim_spread(self) -> tuple[Linear, int]:
        largest = self.model.new_int_var(0, max((pool.usable for pool in self.question.pools), default=0), "spread")
        for load in self.load.values():
            self.model.add(largest >= load)
        return largest, 1

    def _scaled(self, terms: Iterator[tuple[Fraction, Linear]]) -> tuple[Linear, int]:
        listed = list(terms)
        scale = math.lcm(1, *(factor.denominator for factor, _ in listed))
        return sum(int(factor * scale) * term for factor, term in listed), scale

    # Solving.

    def best(self, name: str, budget: float = 60.0) -> Fraction:
        """Return the best value of an aim under all that was fixed before; raises Unsettled without a proof.

        ``budget`` is in CP-SAT's own seconds of work, so that a busy machine settles as much as an idle one.
        """
        expression, scale = self.aim(name)
        (self.model.maximize if name in UPWARDS else self.model.minimize)(expression)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_deterministic_time = budget
        status = solver.solve(self.model)
        if status != cp_model.OPTIMAL:
            raise Unsettled(f"{name}: {solver.status_name(status)}")
        self.model.clear_objective()
        return Fraction(round(solver.objective_value), scale)

    def fix(self, name: str, value: Fraction) -> None:
        """Ask from now on that an aim is at least as good as ``value``."""
        expression, scale = self.aim(name)
        if name in UPWARDS:
            self.model.add(expression >= math.ceil(value * scale))
        else:
            self.model.add(expression <= math.floor(value * scale))
