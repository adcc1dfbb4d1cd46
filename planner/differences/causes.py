"""The cause of each difference: first what the fleets show by themselves, then what the plans in between show."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from planner.counted_words import counted
from planner.differences.difference import CAUSES, Between, Cause
from planner.differences.later_aims import first_difference
from planner.differences.plans_between import Road, turn
from planner.differences.served import compared, first_aims
from planner.differences.sides import Read, Sides
from planner.plan import Host, Plan

Judged = Literal["alike", "new is worse", "new is better", "aims"]


@dataclass(frozen=True, slots=True)
class Found:
    """A cause with its words; ``planned`` where planning in between told it."""

    cause: Cause
    why: str
    planned: bool = False
    behind: tuple[str, ...] = ()


@dataclass(frozen=True)
class Causes:
    """Finds causes. ``road`` is None where no plan in between could be made.

    ``apart`` says what the nearest plan does worse than the new one on a later aim, or better where the new is worse.
    """

    sides: Sides
    road: Road | None
    why_no_road: str
    judged: Judged
    apart: str = ""

    def of_host_change(self, site: str) -> Found:
        """Return why ``site`` has another host: a rule that keeps it from the old one, or the plans in between."""
        sides = self.sides
        for host in self._hosts(sides.old, sides.old_hosts[site]):
            if (read := sides.lost(site, host)) is not None:
                return _read(read)
        kept = {row.action for row in sides.new.assignments if row.site == site} == {"keep"}
        if kept and sides.standing.get(site, set()) >= set(sides.new_hosts[site]):
            there = " and ".join(sorted(sides.standing[site]))
            return Found("current", f"The sheet Current says that it is on {there} today.", False, (site,))
        return self.by_planning(lambda plan: sides.served_by(plan).get(site), self._choice(site))

    def of_left_out(self, site: str) -> Found:
        """Return why ``site`` has no host any more."""
        for host in self._hosts(self.sides.old, self.sides.old_hosts[site]):
            if (read := self.sides.lost(site, host)) is not None:
                return _read(read)
        return self.by_planning(lambda plan: site in self.sides.served_by(plan), "Other sites are served instead.")

    def of_served(self, site: str) -> Found:
        """Return why ``site`` has a host now."""
        for host in self._hosts(self.sides.new, self.sides.new_hosts[site]):
            if (read := self.sides.gained(site, host)) is not None:
                return _read(read)
        return self.by_planning(lambda plan: site in self.sides.served_by(plan), "Other sites are left out instead.")

    def of_standby(self, site: str, old: str, new: str) -> Found:
        """Return why ``site`` has another standby, or none, or one now; ``old`` and ``new`` are "" for none."""
        sides = self.sides
        if old:
            for host in self._hosts(sides.old, (old,)):
                if (read := sides.lost(site, host)) is not None:
                    return _read(read)
        if not old or not new:
            if rows := sides.changes_of("Policy", "cover"):
                return Found(
                    "policy", f"cover in Policy was {rows[0].old}, and is now {rows[0].new}.", False, ("cover",)
                )
            choice = "Two equally good plans decide this differently."
            return self.by_planning(lambda plan: site in {entry.site for entry in plan.uncovered}, choice)
        if old not in {host.host for host in sides.new.host_list}:
            return self.of_host(old)
        return Found("equals", "A new plan keeps sites on their hosts where it can, but chooses all standbys again.")

    def of_host(self, host: str) -> Found:
        """Return why ``host`` runs in one of the plans only."""
        sides = self.sides
        for gone in self._hosts(sides.old, (host,)):
            if sides.new_fleet is not None and gone.pool not in sides.new_fleet.pool_ids:
                return Found("hub", f"Pool {gone.pool} is gone.", False, (gone.pool,))
            if sides.new_fleet is not None and host in sides.new_fleet.retiring_hosts:
                return Found("hub", "It is to be emptied.", False, (gone.pool,))
        choice = "It is not needed for the number of hosts: an equally good plan does without this change."
        found = self.by_planning(lambda plan: host in {one.host for one in plan.host_list}, choice)
        return self._by_count(host) or found if found.cause in ("equals", "aims") else found

    def _by_count(self, host: str) -> Found | None:
        """Return the kind of change by which plans need more hosts, for one that came; fewer, for one that went."""
        assert self.road is not None
        sign = 1 if host in {one.host for one in self.sides.new.host_list} else -1
        counts = [self.sides.old.hosts, *(step.hosts for step in self.road.steps)]
        rises = [sign * (after - before) for before, after in pairwise(counts)]
        if sign * (self.sides.new.hosts - self.sides.old.hosts) <= 0 or max(rises) <= 0:
            return None
        step = self.road.steps[rises.index(max(rises))]
        number = f"{counted(max(rises), 'host')} {'more' if sign > 0 else 'fewer'}"
        words = f"With {CAUSES[step.cause]}, a plan needs {number}. The later aims decide which."
        return Found(step.cause, words, True, step.behind)

    def by_planning(self, state: Callable[[Plan], Hashable], choice: str) -> Found:
        """Return the plan in between that changed ``state`` for good, or else what the last one leaves over."""
        if self.road is None:
            return Found("unknown", self.why_no_road)
        states = [state(plan) for plan in self.road.plans]
        if state(self.road.nearest) != states[0]:
            return self._by_steps(states)
        # Else the nearest plan shows that it can stay, whatever time was left for the plans before it.
        if self.judged == "new is better":
            return Found("unknown", "Time ended before every intermediate plan was made, or proven best.")
        if self.judged == "new is worse":
            needs = "it uses more hosts or money than needed, or serves less"
            words = f"The new plan is not the best: {f'another one {self.apart}' if self.apart else needs}."
            return Found("worse", words, True)
        if self.judged == "aims":
            same = "as few hosts" if self.sides.new.objective == "hosts" else "the same cost"
            return Found("aims", f"A plan with {same} does without this change, but it {self.apart}.", True)
        return Found("equals", choice, True)

    def _by_steps(self, states: Sequence[Hashable]) -> Found:
        """Return the plan in between from which on the state of the old plan does not come back."""
        assert self.road is not None
        step = self.road.steps[turn(states)]
        return Found(step.cause, _by_step(step), True, step.behind)

    def _choice(self, site: str) -> str:
        there = " and ".join(self.sides.old_hosts[site])
        words = f"An equally good plan keeps it on {there}."
        if self.sides.new_fleet is not None and site not in self.sides.standing:
            words += " The new fleet's sheet Current does not name the site, so nothing kept it there."
        return words

    @staticmethod
    def _hosts(plan: Plan, names: tuple[str, ...]) -> list[Host]:
        return [host for host in plan.host_list if host.host in names]


def _by_step(step: Between) -> str:
    doubt = "" if step.proven else " It is not proven that so many sites must move."
    if step.cause == "search":
        return f"A better plan of the same fleet decides differently: the old plan is not the best.{doubt}"
    return f"The cause is this change: {CAUSES[step.cause]}. Without it, a plan keeps everything here as it was.{doubt}"


def _read(read: Read) -> Found:
    return Found(read.cause, read.why, False, read.behind)


def causes_of(sides: Sides, road: Road | None, why_no_road: str) -> Causes:
    """Return what finds the causes between two plans."""
    return Causes(sides, road, why_no_road, *_judged(sides, road))


def _judged(sides: Sides, road: Road | None) -> tuple[Judged, str]:
    """Return whether the new plan is as good as the nearest plan in all its aims in order, and what tells them apart.

    "aims": the new plan is better on a later aim.
    """
    if road is None or sides.new_fleet is None:
        return "alike", ""
    if sign := compared(*(first_aims(sides.new_fleet, plan) for plan in (sides.new, road.nearest))):
        return "new is worse" if sign > 0 else "new is better", ""
    sign, apart = first_difference(sides.new_fleet, sides.new, road.nearest)
    return ("aims" if sign < 0 else "new is worse" if sign > 0 else "alike"), apart
