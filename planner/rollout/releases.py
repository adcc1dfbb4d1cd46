"""In which order a site's own changes and the release changes of its hosts keep every rule about releases.

Every state counts: after each event the site's release suits that of the host that it is on (policy
``host_release_rule``), and a site joins a host only at the release floor or above. A site has few events, so that all
their orders are tried. What a state breaks that is broken today already does not count until it changes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations
from typing import Literal

from planner.releases import Rule, parse_release, suits

# ("site", 0): the release of the site changes; ("host", n): that of the n-th host; ("move", n): it joins its n-th stay.
Event = tuple[Literal["site", "host", "move"], int]
SITE: Event = ("site", 0)


@dataclass(frozen=True, slots=True)
class Story:
    """What happens to one site: releases are (today, after), equal where they do not change and "" where unknown.

    ``hosts``: the releases of each host it meets. ``stays``: positions in ``hosts`` in order; the first is where it is
    today, None for a site without a host.
    """

    rule: Rule
    floor: str
    site: tuple[str, str]
    hosts: tuple[tuple[str, str], ...]
    stays: tuple[int | None, ...]

    @property
    def events(self) -> list[Event]:
        """The events, hosts first: that is the order to prefer."""
        hosts: list[Event] = [("host", n) for n, (today, after) in enumerate(self.hosts) if today != after]
        site = [SITE] if self.site[0] != self.site[1] else []
        return [*hosts, *site, *(("move", n) for n in range(1, len(self.stays)))]


@lru_cache(maxsize=65536)
def precedences(story: Story) -> frozenset[tuple[Event, Event]] | None:
    """Return pairs (earlier, later) such that every order that keeps them keeps the rules; None when no order does.

    >>> story = Story("not_older", "", ("8.2", "8.4"), (("8.2", "8.4"),), (0,))
    >>> sorted(precedences(story))
    [(('host', 0), ('site', 0))]
    >>> precedences(Story("same_major", "", ("8.2", "9.0"), (("8.2", "9.0"),), (0,))) is None
    True
    """
    orders = [order for order in permutations(story.events) if _in_sequence(order)]
    good = [order for order in orders if _keeps(story, order)]
    if not good:
        return None
    pairs = {(a, b) for a in story.events for b in story.events if a != b}
    kept = {(a, b) for a, b in pairs if all(o.index(a) < o.index(b) for o in good)}
    preferred = good[0]
    for pair in [(a, b) for n, a in enumerate(preferred) for b in preferred[n + 1 :]]:
        wrong = [o for o in orders if _respects(o, kept) and o not in good]
        if not wrong:
            break
        # Two hosts are never ordered against each other for the sake of one site.
        if not pair[0][0] == pair[1][0] == "host" and not all(_respects(o, {pair}) for o in wrong):
            kept.add(pair)
    return frozenset(kept)


def _in_sequence(order: Iterable[Event]) -> bool:
    moves = [n for kind, n in order if kind == "move"]
    return moves == sorted(moves)


def _respects(order: tuple[Event, ...], pairs: Iterable[tuple[Event, Event]]) -> bool:
    return all(order.index(a) < order.index(b) for a, b in pairs)


def _keeps(story: Story, order: tuple[Event, ...]) -> bool:
    """Say whether every state of ``order`` keeps the rules."""
    site, hosts, stay = story.site[0], [today for today, _ in story.hosts], 0
    today = (site, hosts[story.stays[0]] if story.stays[0] is not None else "", 0)
    for kind, n in order:
        if kind == "site":
            site = story.site[1]
        elif kind == "host":
            hosts[n] = story.hosts[n][1]
        else:
            stay = n
        on = story.stays[stay]
        if on is None:
            continue
        if (site, hosts[on], stay) != today and not suits(story.rule, site, hosts[on]):
            return False
        if kind == "move" and not reaches(story.floor, site):
            return False
    return True


def reaches(floor: str, site: str) -> bool:
    """Say whether ``site`` is at the release floor or above; an unknown release is not, where there is a floor."""
    return not floor or (bool(site) and parse_release(site) >= parse_release(floor))
