"""Every order that keeps the precedences keeps the rules about releases, and a conflict means that no order does."""

from itertools import permutations, product

import pytest

from planner.releases import parse_release
from planner.rollout.releases import Story, precedences

RELEASES = ("8.2", "8.4", "9.0")


def keeps(story, order):
    """Walk through ``order`` with arithmetic of its own: rule after each event, floor when joining."""
    site, hosts, at = story.site[0], [h[0] for h in story.hosts], 0
    start = (site, tuple(hosts), at)
    for kind, n in order:
        site = story.site[1] if kind == "site" else site
        hosts = [story.hosts[i][1] if (kind, n) == ("host", i) else h for i, h in enumerate(hosts)]
        at = n if kind == "move" else at
        on = story.stays[at]
        if on is None:
            continue
        own, host = parse_release(site), parse_release(hosts[on])
        good = {"any": True, "same_major": own.major == host.major, "not_older": host >= own}[story.rule]
        untouched = (site, at) == (start[0], start[2]) and hosts[on] == start[1][on]
        if (not good and not untouched) or (kind == "move" and story.floor and own < parse_release(story.floor)):
            return False
    return True


def stories():
    for rule, floor in product(("not_older", "any", "same_major"), ("", "8.4")):
        for site in product(RELEASES, RELEASES):
            for one, two in product(product(RELEASES, RELEASES), repeat=2):
                yield Story(rule, floor, site, (one, two), (0, 1))
            for one in product(RELEASES, RELEASES):
                yield Story(rule, floor, site, (one,), (0,))
                yield Story(rule, floor, site, (one,), (None, 0))


def test_all_orders_of_all_small_stories():
    checked = conflicts = 0
    for story in stories():
        orders = list(permutations(story.events))
        good = [o for o in orders if keeps(story, o)]
        found = precedences(story)
        checked += 1
        if found is None:
            conflicts += 1
            assert not good
            continue
        allowed = [o for o in orders if all(o.index(a) < o.index(b) for a, b in found)]
        assert allowed
        assert set(allowed) <= set(good)
    assert checked > 4000
    assert 0 < conflicts < checked


@pytest.mark.parametrize(
    ("rule", "site", "host", "expected"),
    [
        ("not_older", ("8.2", "8.4"), ("8.2", "8.4"), {(("host", 0), ("site", 0))}),  # the host first
        ("not_older", ("8.4", "8.2"), ("8.4", "8.2"), {(("site", 0), ("host", 0))}),  # back again: the site first
        ("any", ("8.2", "9.0"), ("8.2", "9.0"), set()),
        ("same_major", ("8.2", "8.4"), ("8.2", "8.4"), set()),
        ("same_major", ("8.2", "9.0"), ("8.2", "9.0"), None),  # they would have to jump together
    ],
)
def test_a_site_that_stays_on_its_host(rule, site, host, expected):
    assert precedences(Story(rule, "", site, (host,), (0,))) == expected
