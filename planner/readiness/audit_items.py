"""The nouns of the readiness audit: items, the sites they belong to, and the whole. Frozen, plain data throughout."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Literal

from planner.counted_words import counted
from planner.frame_of import TableOf
from planner.plan import Plan
from planner.shown import Shown, told

# blocks: no work at the site mends it · open: to be mended · unknown: the fleet does not say
ItemSeverity = Literal["blocks", "open", "unknown"]
_A_FLEET = 2  # sites from which a column that nobody filled in is one thing to do and not many

Outcome = Literal["ready", "ready_after", "not_a_fit", "no_host_needed"]
OUTCOMES: tuple[Outcome, ...] = ("ready", "ready_after", "not_a_fit", "no_host_needed")


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that is asked of every site; ``asked`` is False where the policy leaves it out."""

    code: str
    asks: str
    asked: bool = True


@dataclass(frozen=True, slots=True)
class Item:
    """One thing at one site that keeps it from being ready.

    ``code`` is that of a `Check`. ``detail`` has the figures; ``remedy`` says what to do, in the same words at every
    site wherever that is possible; ``columns`` names the columns of the sheet Sites to fill in or to correct.
    """

    code: str
    severity: ItemSeverity
    site: str
    detail: str
    remedy: str
    columns: tuple[str, ...] = ()

    @property
    def is_blank(self) -> bool:
        """Whether it only says that one column is to be filled in."""
        return self.severity == "unknown" and len(self.columns) == 1

    def is_only_of(self, columns: Set[str]) -> bool:
        """Say whether it only says that one of ``columns`` is to be filled in."""
        return self.severity == "unknown" and len(self.columns) == 1 and self.columns[0] in columns


@dataclass(frozen=True, slots=True)
class SiteReadiness:
    """What the audit says of one site: ``ready`` without items, ``not_a_fit`` where one blocks, else ``ready_after``.

    ``no_host_needed``: it runs no cluster or has a tie-breaker of its own, so that nothing was asked.
    """

    site: str
    clusters: int
    outcome: Outcome
    items: tuple[Item, ...] = ()

    @property
    def only_unknown(self) -> bool:
        """True where nothing is known to be wrong, and something is not known."""
        return bool(self.items) and all(item.severity == "unknown" for item in self.items)


@dataclass(frozen=True, slots=True)
class ManagementCount:
    """Sites and clusters below the management floor that one hub serves or would serve; hub ``""``: none does."""

    hub: str
    sites: int
    clusters: int


@dataclass(frozen=True, slots=True)
class ItemCount:
    """How many sites have one and the same thing to do."""

    code: str
    severity: ItemSeverity
    remedy: str
    sites: int


@dataclass(frozen=True, slots=True, repr=False)
class Readiness(Shown):
    """The audit of a fleet: one entry for each site in table order, and what was assumed, in words.

    ``management`` is counted by ``management_by``: the eligible hub of least round-trip time, or the hub of a plan.
    """

    sites: tuple[SiteReadiness, ...]
    checks: tuple[Check, ...]
    management: tuple[ManagementCount, ...] = ()
    assumptions: tuple[str, ...] = ()
    management_by: Literal["nearest_hub", "plan"] = "nearest_hub"

    sites_frame = TableOf("sites", "only_unknown", leave_out=("items",))
    items_frame = TableOf("items")
    most_frequent_frame = TableOf("most_frequent")
    checks_frame = TableOf("checks")
    management_frame = TableOf("management")

    @property
    def glance(self) -> str:
        """Sites by outcome, those that are no fit first, in one line."""
        number = self.counts
        return told(
            f"{number['not_a_fit']:,} cannot use a shared host" if number["not_a_fit"] else "",
            f"{number['ready_after']:,} not confirmed" if number["ready_after"] else "",
            f"{counted(number['ready'], 'site')} ready",
        )

    @property
    def items(self) -> tuple[Item, ...]:
        """Every item of every site."""
        return tuple(item for site in self.sites for item in site.items)

    @property
    def missing(self) -> tuple[str, ...]:
        """The columns that say nothing at any site that was audited, in the order of the checks."""
        audited = [site for site in self.sites if site.outcome != "no_host_needed"]
        if len(audited) < _A_FLEET:
            return ()
        left = dict.fromkeys(item.columns[0] for item in audited[0].items if item.is_blank)
        for site in audited:
            if not left:
                break
            blank = {item.columns[0] for item in site.items if item.severity == "unknown" and len(item.columns) == 1}
            left = {column: None for column in left if column in blank}
        return tuple(left)

    def apart_from(self, missing: Sequence[str]) -> Readiness:
        """Return the audit without the items that only say that a column of ``missing`` is blank."""
        gone = set(missing)
        kept = []
        for site in self.sites:
            items = tuple([item for item in site.items if not item.is_only_of(gone)])
            kept.append(dataclasses.replace(site, items=items))
        return dataclasses.replace(self, sites=tuple(kept))

    @property
    def counts(self) -> dict[Outcome, int]:
        """Number of sites of each outcome, the outcomes without a site included."""
        number = Counter(site.outcome for site in self.sites)
        return {outcome: number[outcome] for outcome in OUTCOMES}

    @property
    def most_frequent(self) -> tuple[ItemCount, ...]:
        """Things to do, those of the most sites first; among equals in the order of the checks."""
        order = [check.code for check in self.checks]
        number = Counter[tuple[str, ItemSeverity, str]]()
        for site in self.sites:
            # A site can have one thing to do twice, as where two networks are to be told apart from its own.
            number.update(dict.fromkeys([(item.code, item.severity, item.remedy) for item in site.items]).keys())
        ranked = sorted(number.items(), key=lambda pair: (-pair[1], order.index(pair[0][0])))
        return tuple(ItemCount(*key, sites) for key, sites in ranked)

    def for_plan(self, plan: Plan) -> Readiness:
        """Return the same audit with ``management`` counted by the hubs that ``plan`` assigns."""
        hubs: dict[str, dict[str, int]] = {}
        for assignment in plan.assignments:
            at = hubs.setdefault(assignment.site, {})
            at[assignment.hub] = at.get(assignment.hub, 0) + assignment.clusters
        return dataclasses.replace(self, management=management_counts(self.sites, hubs), management_by="plan")


def management_counts(
    sites: Iterable[SiteReadiness], hubs: Mapping[str, Mapping[str, int]]
) -> tuple[ManagementCount, ...]:
    """Count the sites known to be below the management floor by hub; ``hubs`` has the clusters of a site at each."""
    below, clusters = Counter[str](), Counter[str]()
    for site in sites:
        if any(item.code == "management_floor" and item.severity == "open" for item in site.items):
            at = hubs.get(site.site) or {"": site.clusters}
            below.update(at.keys())
            clusters.update(at)
    return tuple(ManagementCount(hub, below[hub], clusters[hub]) for hub in sorted(below))
