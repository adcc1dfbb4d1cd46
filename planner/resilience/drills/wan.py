"""Losses of WAN links and nodes: whose way to the host is cut, or becomes longer than the latency budget allows."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from functools import cached_property

import networkx as nx
import numpy as np

from planner.fleet import Bools, Fleet, Floats
from planner.latency import delays_of_links
from planner.resilience.drills.layout import Hit, Layout
from planner.resilience.drills.nouns import Loss, SingleLoss

Link = tuple[str, str]
_MOST_RUNS = 1500  # shortest-path runs over the whole graph
_SHOWN = 40
_DUST_MS = 1e-9  # sums of delays along two paths of one length may differ by so much


class Wan:
    """The WAN graph of the Links sheet, and the ways of a plan's rows to their hosts and standbys over it.

    The round-trip time after a loss is the one that the plan states plus what the shortest path grows by, so that
    measured pairs keep what was measured. A pair that the graph does not join before the loss is not judged.
    """

    def __init__(self, fleet: Fleet, layout: Layout) -> None:
        self.layout = layout
        self.graph = nx.Graph()
        ends, delays = delays_of_links(fleet)
        for (one, other), delay in zip(ends, delays, strict=True):
            known = self.graph.get_edge_data(one, other, {"ms": np.inf})["ms"]
            if one != other and delay <= known:
                self.graph.add_edge(one, other, ms=float(delay))
        rows = layout.plan.assignments
        self.sites = [row.site for row in rows]
        hubs = [str(hub) for hub in layout.hub] + [""]
        self.hub_of_row = {False: [row.hub for row in rows], True: [hubs[h] for h in layout.standby]}
        self._before: dict[str, tuple[dict[str, float], dict[str, list[str]]]] = {}
        self.runs = 0

    @cached_property
    def bridges(self) -> set[frozenset[str]]:
        """Links without which the graph falls apart."""
        return {frozenset(link) for link in nx.bridges(self.graph)}

    @cached_property
    def articulation_points(self) -> set[str]:
        """Nodes without which the graph falls apart."""
        return set(nx.articulation_points(self.graph))

    def links(self) -> Iterable[Loss]:
        """Yield every link as a loss; its name joins the two ends in order."""
        yield from (Loss("link", link_name(*link)) for link in self.graph.edges)

    def hit(self, losses: Iterable[Loss], hosts: Bools) -> tuple[Hit, Bools]:
        """Return what ``losses`` take besides ``hosts``, and the rows that only went over their budget, shape (R,)."""
        links, nodes = _parts(losses)
        plain = self.layout.hit(hosts)
        if not (links or nodes):
            return plain, np.zeros(len(self.sites), dtype=np.bool_)
        keeps = [link for link in self.graph.edges if frozenset(link) not in links and not nodes & set(link)]
        rest = self.graph.edge_subgraph(keeps)
        cut, over = self._judged(rest, standby=False)
        standby_cut, standby_over = self._judged(rest, standby=True)
        hit = Hit(hosts, plain.rows | cut | over, plain.cut | standby_cut | standby_over)
        return hit, over & ~plain.rows & ~cut

    def _judged(self, rest: nx.Graph, *, standby: bool, only: Bools | None = None) -> tuple[Bools, Bools]:
        """Return the rows whose way to their hub is cut in ``rest``, and those whose way is over their budget."""
        cut, over = np.zeros((2, len(self.sites)), dtype=np.bool_)
        after: dict[str, dict[str, float]] = {}
        for at, (site, hub) in enumerate(zip(self.sites, self.hub_of_row[standby], strict=True)):
            if only is not None and not only[at]:
                continue
            before = self._from(hub)[0].get(site)
            if before is None:
                continue
            if hub not in after:
                self.runs += 1
                after[hub] = nx.single_source_dijkstra_path_length(rest, hub, weight="ms") if hub in rest else {}
            now = after[hub].get(site, np.inf)
            cut[at] = np.isinf(now)
            grown = 2.0 * (now - before)
            # A way that is no longer than it was is not judged anew.
            over[at] = not cut[at] and grown > _DUST_MS and self._rtt(at, standby) + grown > self._budget(at) + _DUST_MS
        return cut, over

    def _from(self, hub: str) -> tuple[dict[str, float], dict[str, list[str]]]:
        """Return delay and path from a hub to every node that it reaches."""
        if hub not in self._before:
            reached = nx.single_source_dijkstra(self.graph, hub, weight="ms") if hub in self.graph else ({}, {})
            self._before[hub] = reached
        return self._before[hub]

    def _budget(self, at: int) -> float:
        return self.layout.plan.assignments[at].budget_ms

    def _rtt(self, at: int, standby: bool) -> float:
        return float(self._standby_rtt_ms[at]) if standby else self.layout.plan.assignments[at].rtt_ms

    @cached_property
    def _standby_rtt_ms(self) -> Floats:
        """Round-trip time to the standby's hub, shape (R,); NaN where unknown, which no budget judges."""
        pairs, layout = self.layout.checker.facts.latency, self.layout
        hubs = len(layout.fleet.hub_ids)
        hub_of_pool = np.append(layout.fleet.hub_of_pool, -1)
        wanted = layout.site * hubs + hub_of_pool[layout.pool[layout.standby]]
        key = pairs.site.astype(np.int64) * hubs + pairs.hub
        at = np.searchsorted(key, wanted)
        found = (at < len(key)) & (np.append(key, -1)[np.minimum(at, len(key))] == wanted)
        return np.where(found, np.append(pairs.rtt_ms, np.nan)[np.where(found, at, len(key))], np.nan)

    def singles(self) -> tuple[list[SingleLoss], list[str]]:
        """Return the links and nodes whose loss hits somebody, the worst first, and what was searched.

        Only a loss on somebody's shortest path can hit anybody. Bridges and articulation points are counted from the
        paths; for each other link and node the paths are run again, as far as the bound on runs allows.
        """
        users = self._users()
        found: list[SingleLoss] = []
        # Those that most rows rely on first, so that the bound on runs cuts off the least.
        ordered = sorted(users, key=lambda loss: (-int(users[loss][0].sum()), str(loss)))
        left_out = 0
        for loss in ordered:
            single = self._single(loss, *users[loss])
            if single is None:
                left_out += 1
            elif single.figures.displaced:
                found.append(single)
        found.sort(key=lambda one: (-one.figures.unprotected_after, -one.figures.displaced, str(one.loss)))
        said = [
            f"WAN: {self.graph.number_of_edges():,} links and {self.graph.number_of_nodes():,} nodes, of which "
            f"{len(self.bridges):,} bridges and {len(self.articulation_points):,} articulation points; "
            f"{len(ordered) - left_out:,} on a shortest path were tried, {len(found):,} of them displace sites."
        ]
        if left_out:
            said.append(
                f"{left_out:,} links and nodes with alternatives were not tried: too many. Name one with --lose."
            )
        if len(found) > _SHOWN:
            said.append(f"The worst {_SHOWN} of the WAN losses are listed.")
        return found[:_SHOWN], said

    def _users(self) -> dict[Loss, tuple[Bools, Bools]]:
        """Return the rows whose way to home, and to standby, uses each link or node between the ends, both (R,)."""
        users: dict[Loss, tuple[Bools, Bools]] = {}
        for standby in (False, True):
            for at, (site, hub) in enumerate(zip(self.sites, self.hub_of_row[standby], strict=True)):
                path = self._from(hub)[1].get(site, [])
                steps = [Loss("link", link_name(*link)) for link in itertools.pairwise(path)]
                for loss in (*steps, *(Loss("wan_node", node) for node in path[1:-1])):
                    if loss not in users:
                        none = np.zeros((2, len(self.sites)), dtype=np.bool_)
                        users[loss] = (none[0], none[1])
                    users[loss][standby][at] = True
        return {loss: rows for loss, rows in users.items() if rows[0].any()}

    def _single(self, loss: Loss, home: Bools, standby: Bools) -> SingleLoss | None:
        """Return what one loss does; None where trying it would take too many runs."""
        none = np.zeros(len(self.layout.names), dtype=np.bool_)
        bridge = loss.kind == "link" and frozenset(loss.name.split(BETWEEN)) in self.bridges
        if bridge:
            hit, over = Hit(none, home, standby), np.zeros(len(self.sites), dtype=np.bool_)
        else:
            if self.runs > _MOST_RUNS:
                return None
            links, nodes = _parts([loss])
            rest = nx.restricted_view(self.graph, nodes, [tuple(link) for link in links])
            cut, over = self._judged(rest, standby=False, only=home)
            standby_cut, standby_over = self._judged(rest, standby=True, only=standby & (cut | over))
            hit = Hit(none, cut | over, standby_cut | standby_over)
        words = "bridge" if bridge else "articulation point" if loss.name in self.articulation_points else ""
        parts = (words, f"{int(hit.rows.sum() - over.sum()):,} cut off, {int(over.sum()):,} over budget")
        return SingleLoss(loss, self.layout.figures(hit), ": ".join(part for part in parts if part))


BETWEEN = " -- "


def link_name(one: str, other: str) -> str:
    """Return the name of a link, the same for both directions."""
    return BETWEEN.join(sorted((one, other)))


def _parts(losses: Iterable[Loss]) -> tuple[set[frozenset[str]], set[str]]:
    losses = list(losses)
    links = {frozenset(loss.name.split(BETWEEN)) for loss in losses if loss.kind == "link"}
    return links, {loss.name for loss in losses if loss.kind == "wan_node"}
