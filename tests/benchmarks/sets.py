"""The sets of instances, by name: how each is built, who competes on it and what is published about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from planner.fleet import Fleet
from tests.benchmarks import generated, public
from tests.benchmarks.public import Published

_ALL = ("castingvote", "castingvote-count", "arrays-straight", "pulp-straight", "cp-sat")
_COST = ("castingvote", "arrays-straight", "arrays-strong", "pulp-straight", "cp-sat")
_PLAN = ("castingvote",)  # straight models know nothing of standbys
_NO_MOVES = (*_ALL, "castingvote-thorough")  # nothing is in force, so total RTT is the first of the later aims


@dataclass(frozen=True)
class InstanceSet:
    """Instances of one kind. ``names`` lists them; those of generated sets are sizes, and any other size will do.

    ``one_by_one``: straight models get every host as a pool of its own, because packing is the point.
    """

    words: str
    names: Callable[[], list[str]]
    build: Callable[[str], Fleet]
    engines: tuple[str, ...] = _ALL
    published: Callable[[str], Published | None] = lambda _: None
    generated: bool = True
    one_by_one: bool = False


def _sizes(*sizes: str) -> Callable[[], list[str]]:
    return lambda: list(sizes)


def _standing_by(loss: Literal["host", "hub"], of_set: str, build: Callable[[str], Fleet], *sizes: str) -> InstanceSet:
    return InstanceSet(
        f"{of_set}, and standbys have room after the loss of any one {loss} (policy cover)",
        _sizes(*sizes),
        partial(generated.standing_by, build=build, loss=loss),
        _PLAN,
    )


def _facility(folder: str, words: str) -> InstanceSet:
    return InstanceSet(
        f"single-source facility location, {words}",
        names=partial(public.facility_names, folder),
        build=public.facility_fleet,
        engines=_COST,
        published=public.facility_published,
        generated=False,
    )


_TIGHT = partial(generated.plain, budgets_ms=(12, 30))

SETS: dict[str, InstanceSet] = {
    "towns": InstanceSet(
        "sites round towns, one cluster each, equal caps, limits on hosts, a plan in force today",
        _sizes("1000x40", "5000x100", "10000x100", "20000x200", "100000x100", "100000x300"),
        generated.towns,
    ),
    "uniform": InstanceSet(
        "sites and hubs uniform in a square, budgets 12-60 ms",
        _sizes("1000x40", "5000x100"),
        partial(generated.plain, budgets_ms=(12, 60)),
        _NO_MOVES,
    ),
    "tight": InstanceSet(
        "the same with budgets 12-30 ms",
        _sizes("1000x40", "5000x100", "10000x100", "20000x200", "100000x100", "100000x300"),
        _TIGHT,
        _NO_MOVES,
    ),
    "mixed": InstanceSet(
        "sites round towns, caps of 32 to 96, three sites in ten with 2 to 4 clusters kept together",
        _sizes("2000x50"),
        partial(generated.towns, mixed_caps=True, kept_together=0.3),
    ),
    "nearby": InstanceSet(
        "sites and hubs uniform in a square, 30 eligible hubs a site",
        _sizes("100000x1000", "1000000x2000"),
        partial(generated.nearby, eligible=30),
        _ALL[:2],
    ),
    "cover": InstanceSet(
        "tight, and one host at a hub takes all: location set covering",
        _sizes("1000x40", "5000x100"),
        generated.cover,
        (*_ALL, "spopt"),
    ),
    "cover-hub": _standing_by("hub", "tight", _TIGHT, "1000x20", "5000x60"),
    "cover-hub-towns": _standing_by("hub", "towns", generated.towns, "1000x20", "5000x60"),
    "cover-hub-mixed": _standing_by(
        "hub",
        "sites round towns, caps of 32 to 96, 8 sites in a hundred with 2 to 4 clusters kept together",
        partial(generated.towns, mixed_caps=True, kept_together=0.08),
        "1000x20",
        "5000x60",
    ),
    "cover-host": _standing_by("host", "tight", _TIGHT, "1000x20"),
    "cover-host-caps": _standing_by(
        "host", "few hubs within budget, caps of 20, 32 and 64", partial(generated.few_hubs, mixed_caps=True), "1000x20"
    ),
    "cover-host-kept": _standing_by(
        "host", "few hubs within budget, sites of 1 to 5 clusters", partial(generated.few_hubs, kept=True), "1000x20"
    ),
    "cover-host-both": _standing_by(
        "host",
        "few hubs within budget, caps of 20, 32 and 64, sites of 1 to 5 clusters",
        partial(generated.few_hubs, mixed_caps=True, kept=True),
        "200x10",
        "1000x20",
        "2000x40",
        "5000x60",
    ),
    "holmberg": _facility("holmberg", "Holmberg, Ronnqvist and Yuan 1999"),
    "orlib": _facility("orlib", "OR-Library"),
    "yang": _facility("yang", "Yang, Chu and Chen 2012"),
    "tbed1": _facility("tbed1", "Avella and Boccia 2009"),
    "csplib": _facility("csplib", "CSPLib problem 034"),
    "binpack": InstanceSet(
        "bin packing at one hub, Falkenauer 1996; straight models see every host by itself",
        public.packing_names,
        public.packing_fleet,
        published=public.packing_published,
        generated=False,
        one_by_one=True,
    ),
}
