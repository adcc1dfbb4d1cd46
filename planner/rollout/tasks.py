"""The steps before they have a time: what must be done, and what has to come before what."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import networkx as nx

from planner.counted_words import counted
from planner.rollout.detours import Order
from planner.rollout.releases import SITE, Event, Story, precedences
from planner.rollout.state import State
from planner.schedule import Conflict, StepKind

_RELEASE_CAUTIONS = (
    "Read the supplier's release notes before this change.",
    "Keep a rollback to the old release ready.",
)


@dataclass
class Task:
    """A step without its time. ``needs`` end before it starts, ``earlier`` in an earlier wave; both are ids.

    ``change`` is the position of its move in the order of moves. ``apart`` are tasks that may not share its wave.
    """

    id: str
    kind: StepKind
    site: str | None = None
    from_host: str | None = None
    to_host: str | None = None
    host: str | None = None
    release: str | None = None
    change: int | None = None
    needs: set[str] = field(default_factory=set)
    earlier: set[str] = field(default_factory=set)
    after: set[str] = field(default_factory=set)
    apart: set[str] = field(default_factory=set)
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fixed:
    """What stays as it is: sites that may not change, and hosts whose release may not."""

    sites: frozenset[str]
    hosts: frozenset[str]


def story_of(state: State, fixed: Fixed, site: str, refuge: str | None = None) -> Story:
    """Return what happens to ``site`` under the rules about releases, with a detour to ``refuge`` if one is named."""
    now, then = state.now.get(site), state.then.get(site)
    release = state.releases[site]
    if site in fixed.sites:
        then, release = now, (release[0], release[0])
    stays = [now] if refuge is None else [now, refuge]
    if then != stays[-1]:
        stays.append(then)
    names = list(dict.fromkeys(host for host in stays if host is not None))
    hosts = []
    for name in names:
        before, after = state.hosts[name].releases
        changes = state.hosts[name].changes_release and name not in fixed.hosts
        hosts.append((before, after) if changes else (before, before) if state.hosts[name].existing else (after, after))
    policy = state.fleet.policy
    at = tuple(None if host is None else names.index(host) for host in stays)
    return Story(policy.host_release_rule, policy.release_floor, release, tuple(hosts), at)


def fix_conflicts(state: State, blocked: Collection[str]) -> tuple[Fixed, list[Conflict]]:
    """Return what cannot change, since no order of the release changes keeps the rules, and say why.

    ``blocked`` are sites that do not change for other reasons.
    """
    fixed, conflicts = Fixed(frozenset(blocked), frozenset()), list[Conflict]()
    sites = sorted({*state.now, *state.then})
    while True:
        wrong = [site for site in sites if precedences(story_of(state, fixed, site)) is None]
        if not wrong:
            return fixed, conflicts
        still = Fixed(fixed.sites | set(wrong), fixed.hosts)
        # A host whose new release would not suit a site that stays as it is cannot change either.
        barred = {
            host
            for site in sites
            if site in still.sites and precedences(story_of(state, still, site)) is None
            for host in (state.now.get(site),)
            if host is not None
        }
        for site in (site for site in wrong if site not in fixed.sites):
            conflicts.append(_release_conflict(state, site))
        for host in sorted(barred - fixed.hosts):
            message = "it cannot be upgraded while it carries sites that the new release does not suit."
            conflicts.append(
                Conflict("host_release", f"host {host}", message, "Move these sites to another host first.")
            )
        if still == fixed and barred <= fixed.hosts:
            return fixed, conflicts
        fixed = Fixed(still.sites, fixed.hosts | barred)


def _release_conflict(state: State, site: str) -> Conflict:
    before, after = state.releases[site]
    hosts = [host for host in dict.fromkeys((state.now.get(site), state.then.get(site))) if host is not None]
    releases = ", ".join(f"{h} {' -> '.join(dict.fromkeys(state.hosts[h].releases)) or '(unknown)'}" for h in hosts)
    own = f"{before or '(unknown)'} -> {after}" if before != after else before or "(unknown)"
    rule = state.fleet.policy.host_release_rule
    message = f"every order of its steps breaks the rule {rule} or the release floor (site {own}; {releases})."
    hint = "Plan a release in between, or upgrade site and host together by hand."
    return Conflict("releases", f"site {site}", message, hint)


def make_tasks(state: State, fixed: Fixed, order: Order) -> tuple[dict[str, Task], list[Conflict]]:
    """Return all tasks by id, with every precedence between them, and what is left out."""
    tasks = _site_tasks(state, fixed, order)
    conflicts = _host_tasks(state, fixed, order, tasks)
    _link(state, fixed, order, tasks)
    _keep_apart(state, tasks)
    conflicts += drop_circles(tasks)
    return tasks, conflicts


def _site_tasks(state: State, fixed: Fixed, order: Order) -> dict[str, Task]:
    tasks: dict[str, Task] = {}
    first_legs = set(order.legs.values())
    ids: dict[int, str] = {}
    for at in sorted(order.handover.after):
        change = order.handover.changes[at]
        kind: StepKind = "detour" if at in first_legs else "attach" if change.source is None else "move"
        ids[at] = name = f"{kind} {change.site}"
        notes = () if change.target else ("Make sure that the site's own third vote works before it leaves the host.",)
        tasks[name] = Task(
            name, kind, change.site, change.source, change.target, change=at, cautions=notes if kind == "move" else ()
        )
    for at, before in order.handover.after.items():
        tasks[ids[at]].after = {ids[b] for b in before}
        if at in order.legs:
            tasks[ids[at]].needs.add(ids[order.legs[at]])
    for site, (today, after) in sorted(state.releases.items()):
        if today != after and site not in fixed.sites:
            name = f"site: change release of {site}"
            tasks[name] = Task(name, "site_release", site, release=after, cautions=_RELEASE_CAUTIONS)
    return tasks


def _host_tasks(state: State, fixed: Fixed, order: Order, tasks: dict[str, Task]) -> list[Conflict]:
    conflicts = []
    moved = {order.handover.changes[at].site for at in order.handover.after}
    for name, host in sorted(state.hosts.items()):
        if host.planned and not host.existing:
            tasks[f"install {name}"] = Task(f"install {name}", "host_install", host=name, release=host.releases[1])
        elif host.changes_release and name not in fixed.hosts:
            held = sum(site_host == name for site_host in state.now.values())
            notes: tuple[str, ...] = _RELEASE_CAUTIONS
            if held:
                words = "site loses its" if held == 1 else "sites lose their"
                notes += (
                    f"Up to {held} {words} third vote while the host restarts. Both nodes of each must be healthy.",
                )
            task = Task(
                f"host: change release of {name}", "host_release", host=name, release=host.releases[1], cautions=notes
            )
            tasks[task.id] = task
        elif not host.planned:
            left = sorted(site for site, on in state.now.items() if on == name and site not in moved)
            if left:
                shown = ", ".join(left[:5]) + (", ..." if len(left) > 5 else "")
                verb = "stays" if len(left) == 1 else "stay"
                message = f"it cannot be retired, because {counted(len(left), 'site')} {verb} on it ({shown})."
                conflicts.append(Conflict("host_retire", f"host {name}", message))
            elif host.pool >= 0:
                tasks[f"retire {name}"] = Task(f"retire {name}", "host_retire", host=name)
    return conflicts


def _link(state: State, fixed: Fixed, order: Order, tasks: dict[str, Task]) -> None:
    """Put in what must come before what: hosts before sites, releases by the rules, retiring last."""
    by_site: dict[str, list[Task]] = {}
    for task in list(tasks.values()):
        if task.to_host is not None and f"install {task.to_host}" in tasks:
            task.needs.add(f"install {task.to_host}")
        for host in (task.from_host, task.to_host):
            if host is not None and f"retire {host}" in tasks:
                tasks[f"retire {host}"].earlier.add(task.id)
        if task.change is not None and task.site is not None:
            by_site.setdefault(task.site, []).append(task)
    for site in sorted({*state.now, *state.then}):
        moves = sorted(by_site.get(site, ()), key=lambda task: task.kind != "detour")
        refuge = moves[0].to_host if moves and moves[0].kind == "detour" else None
        held = fixed if moves or state.now.get(site) == state.then.get(site) else _held(fixed, site)
        story = story_of(state, held, site, refuge)
        names = list(dict.fromkeys(h for h in _stays(state, held, site, refuge) if h is not None))

        def task_of(event: Event, moves: Sequence[Task] = moves, names: Sequence[str] = names, site: str = site) -> str:
            kind, n = event
            if kind == "host":
                return f"host: change release of {names[n]}"
            return f"site: change release of {site}" if event == SITE else moves[n - 1].id

        for earlier, later in precedences(story) or ():
            first, second = task_of(earlier), task_of(later)
            if first in tasks and second in tasks:
                tasks[second].needs.add(first)


def _held(fixed: Fixed, site: str) -> Fixed:
    return Fixed(fixed.sites | {site}, fixed.hosts)


def _stays(state: State, fixed: Fixed, site: str, refuge: str | None) -> list[str | None]:
    then = state.now.get(site) if site in fixed.sites else state.then.get(site)
    return [state.now.get(site), refuge, then]


def _keep_apart(state: State, tasks: Mapping[str, Task]) -> None:
    """A host's release change shares its wave with no other change on the host, nor of a site on it."""
    touching: dict[str, set[str]] = {}
    for task in tasks.values():
        hosts = {task.from_host, task.to_host, task.host}
        if task.kind == "site_release" and task.site is not None:
            hosts |= {state.now.get(task.site), state.then.get(task.site)}
        for host in hosts - {None}:
            touching.setdefault(str(host), set()).add(task.id)
    for task in tasks.values():
        if task.kind == "host_release":
            task.apart |= touching[str(task.host)] - {task.id}


def drop_circles(tasks: dict[str, Task]) -> list[Conflict]:
    """Take out tasks that need each other in a circle, and all that need them; return why."""
    conflicts: list[Conflict] = []
    while True:
        graph = nx.DiGraph((b, t.id) for t in tasks.values() for b in t.needs | t.earlier | t.after if b in tasks)
        graph.add_nodes_from(tasks)
        try:
            circle = [before for before, _ in nx.find_cycle(graph)]
        except nx.NetworkXNoCycle:
            return conflicts
        lost = sorted({*circle, *(t for c in circle for t in nx.descendants(graph, c))})
        verb = "is" if len(lost) == 1 else "are"
        message = f"these steps wait for each other, so {counted(len(lost), 'step')} {verb} left out."
        conflicts.append(
            Conflict(
                "circle_of_needs",
                ", ".join(circle),
                message,
                "Change the plan, or the target release of a site or host.",
            )
        )
        for name in lost:
            del tasks[name]
        for task in tasks.values():
            task.apart -= set(lost)
