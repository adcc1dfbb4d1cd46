"""Losses of WAN links and nodes: whose way to the host is cut, or becomes longer than the latency budget allows."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from functools import cached_property

import numpy as np

from planner.counted_words import counted
from planner.fleet import Bools, Fleet, Floats
from planner.resilience.drills.drill_report import Loss, SingleLoss
from planner.resilience.drills.graph import Graph, Link
from planner.resilience.drills.layout import Hit, Layout

BETWEEN = " -- "
_MOST_STEPS = 10_000_000  # nodes that all shortest-path searches together may visit, some seconds' work
_SHOWN = 40
_DUST_MS = 1e-9  # sums of delays along two paths of one length may differ by so much


class Wan:
    """The ways of a plan's rows to their hosts and standbys over the WAN graph.

    The round-trip time after a loss is the one that the plan states plus what the shortest path grows by, so that
    measured pairs keep what was measured. A pair that the graph does not join before the loss is not judged.
    """

    def __init__(self, fleet: Fleet, layout: Layout) -> None:
        self.layout = layout
        self.graph = Graph(fleet)
        rows = layout.plan.assignments
        self.sites = [row.site for row in rows]
        hubs = [*map(str, layout.hub), ""]
        self.hub_of_row = {False: [row.hub for row in rows], True: [hubs[h] for h in layout.standby]}

    def losses(self) -> Iterable[Loss]:
        """Yield every link and every node as a loss; the name of a link joins its two ends in order."""
        yield from (Loss("link", link_name(*link)) for link in self.graph.links)
        yield from (Loss("wan_node", name) for name in self.graph.names)

    def hit(self, losses: Iterable[Loss], hosts: Bools) -> tuple[Hit, Bools]:
        """Return what ``losses`` take besides ``hosts``, and the rows that only went over their budget, shape (R,)."""
        links, nodes = _parts(losses)
        plain = self.layout.hit(hosts)
        if not (links or nodes):
            return plain, np.zeros(len(self.sites), dtype=np.bool_)
        everybody = range(len(self.sites))
        cut, over = self._judged(everybody, links, nodes, standby=False)
        standby_lost = np.logical_or(*self._judged(everybody, links, nodes, standby=True))
        hit = Hit(hosts, plain.rows | cut | over, plain.cut | standby_lost)
        return hit, over & ~plain.rows

    def singles(self) -> tuple[list[SingleLoss], list[str]]:
        """Return the links and nodes whose loss leaves most clusters without a vote, and what was searched.

        Only a loss on somebody's shortest path can hit anybody, and at most those whose path it is. So the search goes
        on from the most used ones until no other can be among the worst. Bridges are counted from the paths; for each
        other link and node the paths are searched again, as far as the bound on that work allows.
        """
        users = self._users()
        used_by = {loss: int(self.layout.clusters[home].sum()) for loss, (home, _) in users.items()}
        found: list[SingleLoss] = []
        worst: list[int] = []  # clusters left without a vote, of the losses that are listed as it stands
        tried = too_long = 0
        for loss in sorted(users, key=lambda loss: (-used_by[loss], str(loss))):
            if len(worst) == _SHOWN and used_by[loss] < worst[0]:
                break
            tried += 1
            single = self._single(loss, *users[loss])
            if single is None:
                too_long += 1
            elif single.figures.displaced:
                found.append(single)
                worst = sorted([*worst, single.figures.unprotected_after])[-_SHOWN:]
        found.sort(key=lambda one: (-one.figures.unprotected_after, -one.figures.displaced, str(one.loss)))
        return found[:_SHOWN], self._searched(len(users), tried, too_long, len(found))

    def _searched(self, on_paths: int, tried: int, too_long: int, found: int) -> list[str]:
        graph = self.graph
        said = [
            f"The WAN has {len(graph.links):,} links and {len(graph.names):,} nodes. {len(graph.bridges):,} of the "
            f"links and {len(graph.articulation_points):,} of the nodes have no way around them. "
            f"{on_paths:,} links and "
            f"nodes are on the shortest path of a site to its host. {tried - too_long:,} of them were lost, one at a "
            f"time; {found:,} of these losses hit sites."
        ]
        if too_long:
            said.append(
                f"{too_long:,} links and nodes were not tried, since that takes too long. Use --lose to try one."
            )
        if tried < on_paths or found > _SHOWN:
            rest = "" if too_long else " No other loss of a link or node hits more clusters."
            said.append(f"The worst {min(found, _SHOWN)} of the WAN losses are listed.{rest}")
        return said

    @cached_property
    def _before(self) -> dict[str, tuple[Floats, np.ndarray]]:
        """Delay and previous node from every hub in use, with nothing lost; a hub that is not in the graph has none."""
        hubs = {*self.hub_of_row[False], *self.hub_of_row[True]}
        return {hub: self.graph.search(hub) for hub in sorted(hubs) if hub in self.graph.at}

    def _judged(self, rows: Iterable[int], links: set[Link], nodes: set[str], *, standby: bool) -> tuple[Bools, Bools]:
        """Return which of ``rows`` lose the way to their hub, and which go over their budget, shape (R,) each."""
        cut, over = np.zeros((2, len(self.sites)), dtype=np.bool_)
        before, after = self._before, {}
        with self.graph.without(links, nodes):
            for at in rows:
                node, hub = self.graph.at.get(self.sites[at]), self.hub_of_row[standby][at]
                if node is None or hub not in before or np.isinf(before[hub][0][node]):
                    continue
                if hub not in after:
                    after[hub] = self.graph.search(hub)[0]
                grown = 2.0 * (after[hub][node] - before[hub][0][node])
                cut[at] = np.isinf(grown)
                # A way that is no longer than it was is not judged anew.
                longest = self._budget(at, standby) + _DUST_MS
                over[at] = not cut[at] and grown > _DUST_MS and self._rtt(at, standby) + grown > longest
        return cut, over

    def _rtt(self, at: int, standby: bool) -> float:
        return float(self._standby_rtt_ms[at]) if standby else self.layout.plan.assignments[at].rtt_ms

    def _budget(self, at: int, standby: bool) -> float:
        """Return what the row's RTT may come to; a standby serves while a loss lasts."""
        site, daily = self.layout.site[at], self.layout.plan.assignments[at].budget_ms
        return float(self.layout.fleet.loss_budgets_ms[site]) if standby and site >= 0 else daily

    @cached_property
    def _standby_rtt_ms(self) -> Floats:
        """Round-trip time to the standby's hub, shape (R,); NaN where unknown, which no budget judges."""
        pairs, layout = self.layout.checker.facts.latency, self.layout
        hubs = len(layout.fleet.hub_ids)
        hub_of_pool = np.append(layout.fleet.hub_of_pool, -1)
        wanted = layout.site * hubs + hub_of_pool[layout.pool[layout.standby]]
        key = pairs.site.astype(np.int64) * hubs + pairs.hub
        at = np.searchsorted(key, wanted)
        found = np.append(key, -1)[at] == wanted
        return np.where(found, np.append(pairs.rtt_ms, np.nan)[at], np.nan)

    def _users(self) -> dict[Loss, tuple[list[int], list[int]]]:
        """Return the rows whose way to home, and to standby, uses each link, or node between the ends."""
        users: dict[Loss, tuple[list[int], list[int]]] = {}
        for standby in (False, True):
            for at, (site, hub) in enumerate(zip(self.sites, self.hub_of_row[standby], strict=True)):
                path = self._path(site, hub)
                steps = [Loss("link", link_name(*link)) for link in itertools.pairwise(path)]
                for loss in (*steps, *(Loss("wan_node", node) for node in path[1:-1])):
                    users.setdefault(loss, ([], []))[standby].append(at)
        return {loss: rows for loss, rows in users.items() if rows[0]}

    def _path(self, site: str, hub: str) -> list[str]:
        """Return the nodes from ``site`` to ``hub`` with nothing lost; none where there is no way."""
        at = self.graph.at.get(site, -1)
        if at < 0 or hub not in self._before:
            return []
        previous = self._before[hub][1]
        path = [site]
        while previous[at] >= 0:
            at = previous[at]
            path.append(self.graph.names[at])
        return path if path[-1] == hub else []

    def _single(self, loss: Loss, home: list[int], standby: list[int]) -> SingleLoss | None:
        """Return what one loss does; None where trying it would take too long."""
        links, nodes = _parts([loss])
        lost, over, standby_lost = np.zeros((3, len(self.sites)), dtype=np.bool_)
        bridge = bool(links & self.graph.bridges)
        if bridge:
            lost[home] = standby_lost[standby] = True
        elif self.graph.steps > _MOST_STEPS:
            return None
        else:
            cut, over = self._judged(home, links, nodes, standby=False)
            lost = cut | over
            displaced = [at for at in standby if lost[at]]
            standby_lost = np.logical_or(*self._judged(displaced, links, nodes, standby=True))
        hit = Hit(np.zeros(len(self.layout.names), dtype=np.bool_), lost, standby_lost)
        # A bridge or an articulation point of the graph.
        only = "no way around it; " if bridge or nodes & self.graph.articulation_points else ""
        away, slow = int(lost.sum() - over.sum()), int(over.sum())
        words = f"{only}{counted(away, 'site')} cut off, {slow:,} above the latency budget"
        return SingleLoss(loss, self.layout.figures(hit), words)


def link_name(one: str, other: str) -> str:
    """Return the name of a link, the same for both directions."""
    return BETWEEN.join(sorted((one, other)))


def _parts(losses: Iterable[Loss]) -> tuple[set[Link], set[str]]:
    losses = list(losses)
    links = {frozenset(loss.name.split(BETWEEN)) for loss in losses if loss.kind == "link"}
    return links, {loss.name for loss in losses if loss.kind == "wan_node"}
