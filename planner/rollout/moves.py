"""The moves of a rollout in an order that keeps the caps, and what has to be left out for it."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.counted_words import counted
from planner.rollout.circles import another_order, order_changes
from planner.rollout.detours import MayUse, Order
from planner.rollout.handover import Change, Handover
from planner.rollout.releases import precedences
from planner.rollout.state import State
from planner.rollout.tasks import Fixed, fix_conflicts, story_of
from planner.schedule import Conflict

_SHOWN = 5


@dataclass(frozen=True)
class Moves:
    """The order of all moves that can be made, what stays as it is, the free room today, and the conflicts."""

    order: Order
    fixed: Fixed
    room: Mapping[str, int]
    conflicts: tuple[Conflict, ...]


def order_moves(state: State, open_items: Mapping[str, Collection[str]]) -> Moves:
    """Return the moves in order. Sites with open items, and those that the plan leaves unserved, stay as they are."""
    blocked, conflicts = _blocked(state, open_items)
    fixed, found = fix_conflicts(state, blocked)
    conflicts += found
    least = 0
    while True:
        changes = _changes(state, fixed)
        room, uplink = _room(state, changes)
        order = order_changes(changes, room, _stayers(state, fixed), _may_use(state, fixed), uplink)
        order.least_detours = least = max(least, order.least_detours)
        conflicts += _stuck(state, fixed, order)
        stuck = {order.handover.changes[at].site for part in order.stuck for at in part}
        before, (fixed, found) = fixed, fix_conflicts(state, fixed.sites | stuck)
        conflicts += [conflict for conflict in found if conflict not in conflicts]
        # Sites that stay have given no place to others: the order holds without them.
        if fixed == Fixed(before.sites | stuck, before.hosts):
            return Moves(order, fixed, room, tuple(conflicts))


def ordered_otherwise(state: State, moves: Moves, chance: random.Random) -> Moves | None:
    """Return the same moves in an order that ``chance`` draws, with as few detours; None where none is found."""
    if moves.order.stuck:
        return None
    changes, may_use = _changes(state, moves.fixed), _may_use(state, moves.fixed)
    room, uplink = _room(state, changes)
    order = another_order(changes, room, _stayers(state, moves.fixed), may_use, uplink, chance)
    if order is None or len(order.legs) > len(moves.order.legs):
        return None
    order.least_detours = moves.order.least_detours
    return dataclasses.replace(moves, order=order)


def without_detours(moves: Moves) -> Order:
    """Return the changes that every order of the moves makes: each site straight from its source to its target."""
    handover, legs = moves.order.handover, moves.order.legs
    straight = Handover(list(handover.changes), {}, handover.uplink)
    for at in set(handover.after) - set(legs.values()):
        change = handover.changes[at]
        if at in legs:
            change = dataclasses.replace(change, source=handover.changes[legs[at]].source)
        if change.source != change.target:
            straight.changes[at], straight.after[at] = change, set()
    return Order(straight)


def _blocked(state: State, open_items: Mapping[str, Collection[str]]) -> tuple[set[str], list[Conflict]]:
    blocked, conflicts = set(), []
    for site, items in sorted(open_items.items()):
        changes = state.now.get(site) != state.then.get(site) or len(set(state.releases.get(site, ()))) > 1
        if items and site in state.site_at and changes:
            blocked.add(site)
            listed = "; ".join(sorted(items))
            conflicts.append(
                Conflict(
                    "readiness",
                    f"site {site}",
                    f"it is not ready: {listed}.",
                    "Do these items first, then plan the rollout again.",
                )
            )
    spared = {entry.site for entry in state.plan.no_host_needed}
    for site in sorted(set(state.now) - set(state.then) - spared - blocked):
        blocked.add(site)
        message = f"the plan has no host for it, so it stays on {state.now[site]}."
        conflicts.append(
            Conflict("unserved", f"site {site}", message, "The sheet Unserved of the plan has the reasons.")
        )
    return blocked, conflicts


def _changes(state: State, fixed: Fixed) -> list[Change]:
    sites = sorted({*state.now, *state.then} - fixed.sites)
    moving = [site for site in sites if state.now.get(site) != state.then.get(site)]
    bits = np.rint(state.fleet.traffic_kbps * 1000).astype(np.int64)
    return [Change(s, state.now.get(s), state.then.get(s), state.sizes[s], int(bits[state.site_at[s]])) for s in moving]


def _stayers(state: State, fixed: Fixed) -> dict[str, list[tuple[str, int, int]]]:
    """Return for each host the sites that stay on it, with clusters and bit/s."""
    bits = np.rint(state.fleet.traffic_kbps * 1000).astype(np.int64)
    found: dict[str, list[tuple[str, int, int]]] = {name: [] for name in state.hosts}
    for site, host in sorted(state.now.items()):
        if site not in fixed.sites and state.then.get(site) == host:
            found[host].append((site, state.sizes[site], int(bits[state.site_at[site]])))
    return found


def _room(state: State, changes: list[Change]) -> tuple[dict[str, int], dict[str, str]]:
    """Return the free room of each host and of each uplink that may get full, and which uplink a host has.

    A host that carries more than it may today has no room until sites have left it, and is never fuller than today.
    """
    room = {n: max(0, h.limit - state.load[n]) for n, h in state.hosts.items() if h.limit is not None}
    fleet, uplink = state.fleet, dict[str, str]()
    bits = np.rint(fleet.traffic_kbps * 1000).astype(np.int64)
    for hub, kbps in zip(fleet.hub_ids, fleet.hub_uplinks_kbps.tolist(), strict=True):
        here = {name for name, host in state.hosts.items() if host.hub == hub}
        today = sum(int(bits[state.site_at[site]]) for site, host in state.now.items() if host in here)
        more = sum(change.traffic for change in changes)
        if today + more > kbps * 1000:
            place = f"uplink of {hub}"
            room[place] = max(0, int(kbps * 1000) - today)
            uplink |= dict.fromkeys(here, place)
    return room, uplink


def _may_use(state: State, fixed: Fixed) -> MayUse:
    def may_use(site: str, host: str) -> bool:
        if host not in state.hosts or not state.eligible(site, host) or site in fixed.sites:
            return False
        return precedences(story_of(state, fixed, site, host)) is not None

    return may_use


def _stuck(state: State, fixed: Fixed, order: Order) -> list[Conflict]:
    """Say which sites find no room: circles one by one, then all that wait for sites that stay."""
    conflicts, waiting = [], list[Change]()
    for part in order.stuck:
        changes = [order.handover.changes[at] for at in part]
        hosts = sorted({h for c in changes for h in (c.source, c.target) if h is not None})
        if any(change.source is None for change in changes) or _left(state, fixed, hosts):
            waiting += changes
            continue
        found = "no host that they may use has room to hold them for a time"
        if any(change.size > 1 for change in changes):
            found = "no order with temporary hosts was found"
        if order.hopeless:
            found = "no order exists in which each site uses a temporary host at most once"
        message = f"all are full, and their moves wait for each other ({_some(changes)}); {found}."
        hint = _one_more_host(state, [change.site for change in changes])
        conflicts.append(Conflict("circle", f"hosts {', '.join(hosts)}", message, hint))
    if waiting:
        message = f"full with sites that cannot leave yet, so these cannot move there either: {_some(waiting)}."
        targets = sorted({change.target for change in waiting if change.target is not None})
        conflicts.append(
            Conflict(
                "no_room", f"hosts {', '.join(targets)}", message, "Solve the other conflicts of these hosts first."
            )
        )
    return conflicts


def _some(changes: Sequence[Change]) -> str:
    shown = ", ".join(change.site for change in changes[:_SHOWN]) + (", ..." if len(changes) > _SHOWN else "")
    return f"{counted(len(changes), 'site')}: {shown}"


def _left(state: State, fixed: Fixed, hosts: list[str]) -> set[str]:
    """Return the sites on ``hosts`` that the plan takes away from there, and that do not change."""
    return {site for site in fixed.sites if (host := state.now.get(site)) in hosts and state.then.get(site) != host}


def _one_more_host(state: State, sites: list[str]) -> str:
    """Say where one more host would break the circle: a pool with a place left that some of its sites may use."""
    fleet = state.fleet
    running = np.zeros(len(fleet.pool_ids), dtype=np.int64)
    for host in state.hosts.values():
        if host.pool >= 0:
            running[host.pool] += 1
    wanted = {state.site_at[site] for site in sites}
    problem = state.problem
    asking = np.isin(problem.site_at[problem.site], sorted(wanted))
    counts = np.bincount(problem.pool_at[problem.pool[asking]], minlength=len(fleet.pool_ids))
    places = [int(p) for p in np.argsort(-counts, kind="stable") if counts[p] and running[p] < fleet.max_hosts[p]]
    if places:
        return (
            f"You need one more host for the time of the rollout: pool {fleet.pool_ids[places[0]]} has a place for it."
        )
    best = int(np.argmax(counts))
    if not counts[best]:
        return "You need one more host for the time of the rollout, at a hub that these sites may use."
    pool = fleet.pool_ids[best]
    return f"You need one more host for the time of the rollout, for example at pool {pool}: raise its max_hosts."
