"""The noun of the input: Fleet, with the policy and findings. Frozen; variants come from `replace`."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import numpy as np
import pandas as pd

from planner import columns
from planner.arrays import Bools, Floats, Ints, Moments, positions, whole_weights
from planner.columns import Sheet
from planner.counted_words import counted
from planner.errors import InputError
from planner.fleet_arrays import FleetArrays
from planner.frame_of import TableOf
from planner.own import Own, OwnAim, OwnRule, OwnSource
from planner.policy import Finding, Policy, Severity, fitted
from planner.shown import Shown, told
from planner.typed_tables import same_table, typed_table

__all__ = [
    "Bools",
    "Finding",
    "Fleet",
    "Floats",
    "Ints",
    "Moments",
    "Policy",
    "Severity",
    "Source",
    "fitted",
    "positions",
    "typed_table",
    "whole_weights",
]


@dataclass(frozen=True, slots=True)
class Source:
    """A file that the fleet was read from, so that a plan can say what it rests on."""

    name: str
    sha256: str


# HiGHS tells weights apart to about 11 digits: knapsacks of weights up to 1e10 beside 1 were all solved exactly, and
# some of 1e11 not at all. Sums of floats are exact up to 2^53.
_MOST_WEIGHT = 10_000_000_000
_EXACT = 2**53
_MOST_CLUSTERS = 1_000_000_000  # maximum flows of SciPy count in 32 bits

_TABLES: Mapping[str, Sheet] = {
    "sites": columns.SITES,
    "pools": columns.HUBS,
    "latency": columns.LATENCY,
    "samples": columns.SAMPLES,
    "links": columns.LINKS,
    "current": columns.CURRENT,
    "freezes": columns.FREEZES,
    "changes": columns.CHANGES,
    "prices": columns.PRICES,
}


def _not_a_table(table: Any, sheet: Sheet) -> str:
    """Say what keeps ``table`` from being one of ``sheet``; "" where it is one."""
    if not isinstance(table, pd.DataFrame):
        return f"is a {type(table).__name__}; it must be a DataFrame with the columns of sheet {sheet.name}."
    missing = [name for name in sheet.names if name not in table]
    return f"lacks {'column' if len(missing) == 1 else 'columns'} {', '.join(missing)}." if missing else ""


@dataclass(frozen=True, repr=False, eq=False)
class Fleet(FleetArrays, Shown):
    """The validated inventory: one typed table for each sheet, and the policy.

    Tables are those of `typed_table`: the canonical columns of `planner.columns`, then the user's
    own. Blanks stay blank in the tables; the arrays of `FleetArrays` apply the policy's defaults, so a
    variant with another policy needs no new intake. Treat tables as read-only.

    Build one with `planner.read_fleet` or `planner.fleet_from_tables`; both validate. Two fleets are equal where they
    plan alike: the same tables, row by row, and the same policy; findings and sources may differ. Raises InputError
    where a table lacks columns.
    """

    sites: pd.DataFrame
    pools: pd.DataFrame
    latency: pd.DataFrame = field(default_factory=partial(typed_table, columns.LATENCY, {}))
    samples: pd.DataFrame = field(default_factory=partial(typed_table, columns.SAMPLES, {}))
    links: pd.DataFrame = field(default_factory=partial(typed_table, columns.LINKS, {}))
    current: pd.DataFrame = field(default_factory=partial(typed_table, columns.CURRENT, {}))
    freezes: pd.DataFrame = field(default_factory=partial(typed_table, columns.FREEZES, {}))
    changes: pd.DataFrame = field(default_factory=partial(typed_table, columns.CHANGES, {}))
    prices: pd.DataFrame = field(default_factory=partial(typed_table, columns.PRICES, {}))
    policy: Policy = field(default_factory=Policy)
    findings: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()
    true_pools: Mapping[str, str] = field(default_factory=dict)  # of pools that are parts of one
    assumed_hosts: frozenset[str] = frozenset()  # pools whose blank ``existing_hosts`` Current has filled in
    emptied: tuple[str, ...] = ()  # hosts and hubs that a plan was asked to empty, see `planner.sizing.drained`
    own: tuple[Own, ...] = ()  # rules, sources of round-trip times and aims that the caller gives

    def __post_init__(self) -> None:
        wrong = [
            Finding(
                "error",
                "table_wanted",
                sheet.name,
                f"{name} {what}",
                "Make it by typed_table, or the fleet by fleet_from_tables.",
            )
            for name, sheet in _TABLES.items()
            if (what := _not_a_table(getattr(self, name), sheet))
        ]
        if not isinstance(self.policy, Policy):
            message = f"policy is a {type(self.policy).__name__}; it must be a Policy."
            wrong.append(Finding("error", "policy_wanted", "Policy", message))
        if wrong:
            raise InputError(tuple(wrong))

    findings_frame = TableOf("findings")

    @property
    def glance(self) -> str:
        """How many errors and warnings there are, then how large it is, in one line."""
        doubts = sum(finding.severity != "info" for finding in self.findings)
        return told(
            counted(doubts, "finding") if doubts else "",
            f"{counted(len(self.sites), 'site')}, {counted(len(self.hub_ids), 'hub')}, "
            f"{counted(len(self.pools), 'pool')}, {counted(int(self.clusters.sum()), 'cluster')}",
        )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Fleet):
            return NotImplemented
        alike = self.policy == other.policy and dict(self.true_pools) == dict(other.true_pools)
        alike = alike and self.own == other.own
        return alike and all(same_table(getattr(self, name), getattr(other, name)) for name in _TABLES)

    __hash__ = None  # type: ignore[assignment]  # tables can be changed, so that a fleet is no key

    def __getstate__(self) -> dict[str, Any]:
        """Return what another process needs: the fields, without what was worked out from them."""
        return {name: self.__dict__[name] for name in self.__dataclass_fields__}

    def having(self, *own: Own) -> Fleet:
        """Return a copy that also heeds these rules, sources of round-trip times and aims, see `planner.own`.

        Raises InputError where two have one name.
        """
        names = [each.name for each in (*self.own, *own)]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            message = f"Two of your own rules, sources or aims have the name {twice[0]}."
            raise InputError((Finding("error", "own_twice", "", message),))
        return self.replace(own=(*self.own, *own))

    @property
    def own_rules(self) -> tuple[OwnRule, ...]:
        """The rules that the caller gives."""
        return tuple(each for each in self.own if isinstance(each, OwnRule))

    @property
    def own_sources(self) -> tuple[OwnSource, ...]:
        """The sources of round-trip times that the caller gives."""
        return tuple(each for each in self.own if isinstance(each, OwnSource))

    @property
    def own_aims(self) -> tuple[OwnAim, ...]:
        """The aims that the caller gives, whether the setting ``then`` names them or not."""
        return tuple(each for each in self.own if isinstance(each, OwnAim))

    def replace(self, **changes: Any) -> Fleet:
        """Return a copy with ``changes`` made to the fields."""
        return dataclasses.replace(self, **changes)

    @cached_property
    def too_large(self) -> tuple[Finding, int] | None:
        """What no plan can be made for, and the site of it: clusters too many to count, weights too far apart."""
        if not len(self.clusters):
            return None
        if self.clusters.sum() > _MOST_CLUSTERS:
            message = f"The fleet has {self.clusters.sum():,} clusters; a plan counts up to {_MOST_CLUSTERS:,}."
            return Finding("error", "clusters_beyond", "", message, "Correct the column clusters."), 0
        at = int(np.argmax(self.weights))
        if not self.weights[at] <= _MOST_WEIGHT:
            message = f"weight {self.weights[at]:.15g} is above {_MOST_WEIGHT:,}."
            return Finding("error", "weights_apart", "", message, "Make it smaller."), at
        whole = self.whole_weights
        if whole[at] <= _MOST_WEIGHT and whole.sum() <= _EXACT:
            return None
        step = f"{self.weights[at] / whole[at]:.6f}".rstrip("0")
        message = (
            f"weight {self.weights[at]:.15g} is {whole[at]:,} times {step}, the smallest unit of the weights. "
            f"A plan can handle a ratio of up to {_MOST_WEIGHT:,}."
        )
        return Finding("error", "weights_apart", "", message, "Round the weights, or make the largest smaller."), at
