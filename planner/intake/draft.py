"""The fleet while it is being checked: typed sheets that know their cells, and the Fleet they make so far."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.fleet import Fleet, Floats
from planner.intake.findings import Findings, show
from planner.intake.host_names import one_name_each
from planner.intake.ids import KnownIds, first_rows, resolve, resolve_column
from planner.intake.known_words import is_unknown
from planner.intake.pairrows import PairRows
from planner.intake.policy import PolicyRead
from planner.intake.running import check_pools_of_hosts
from planner.intake.tables import TypedSheet


@dataclass
class Draft:
    """What has been read. ``fleet`` is built from the tables once ids have been resolved."""

    findings: Findings
    sites: TypedSheet
    pools: TypedSheet
    policy: PolicyRead = field(default_factory=PolicyRead)
    latency: PairRows | None = None
    samples: PairRows | None = None
    links: TypedSheet | None = None
    current: TypedSheet | None = None
    freezes: TypedSheet | None = None
    changes: TypedSheet | None = None
    prices: TypedSheet | None = None

    def __post_init__(self) -> None:
        self.site_ids = KnownIds.of_sheet(self.sites, "site")
        self.hub_ids = KnownIds.of_sheet(self.pools, "hub")

    @property
    def fleet(self) -> Fleet:
        """The fleet as it stands; it holds only if no error has been found."""
        given = {
            name: part.frame
            for name in ("latency", "samples", "links", "current", "freezes", "changes", "prices")
            if (part := getattr(self, name)) is not None
        }
        return Fleet(sites=self.sites.frame, pools=self.pools.frame, policy=self.policy.policy, **given)

    @property
    def budgets_ms(self) -> Floats:
        """The largest latency budget of each site, in the order of ``site_ids``: of every day or of a loss; else NaN.

        A blank takes that of the policy.
        """
        policy = self.policy.policy
        daily = self._given("latency_budget_ms", policy.latency_budget_ms)
        return np.fmax(daily, self._given("loss_latency_budget_ms", policy.loss_latency_budget_ms))

    def _given(self, column: str, of_all: float | None) -> Floats:
        own = dict(zip(self.sites.frame["site"], self.sites.frame[column], strict=True))
        values = np.array([own[site] for site in self.site_ids.ids], dtype=np.float64)
        return np.where(np.isnan(values), np.nan if of_all is None else of_all, values)

    def is_wrong(self, setting: str) -> bool:
        """Return whether a setting was given, but wrongly."""
        place = self.policy.places.get(setting)
        return place is not None and self.findings.is_wrong(place)

    def note(self, code: str, sheet: TypedSheet, column: str, at: Iterable[int], **words: object) -> None:
        """Record a finding that sums up the cells of ``column`` in the rows ``at``, those with an error left out."""
        for position in at:
            place = sheet.place(position, column)
            if not self.findings.is_wrong(place):
                self.findings.note(code, place, column, **words)


def check_unique(draft: Draft) -> None:
    """Report sites and pools whose id another row has; a blank pool takes the hub's id."""
    pools = draft.pools
    blank = (pools.frame["pool"] == "").to_numpy(dtype=np.bool_)
    pools.frame["pool"] = pools.frame["pool"].mask(blank, pools.frame["hub"])
    for sheet, column, code in ((draft.sites, "site", "site_repeated"), (pools, "pool", "pool_repeated")):
        ids = sheet.frame[column].tolist()
        for position, first in enumerate(first_rows(ids)):
            if first == position:
                continue
            both_blank = sheet is pools and blank[first] and blank[position]
            place, other = sheet.place(position, column), sheet.place(first, column).cell
            draft.findings.add(
                "pool_blank" if both_blank else code,
                place,
                column,
                value=f'"{ids[first]}"',
                hub=ids[first],
                other=other,
            )


def check_alike(draft: Draft) -> None:
    """Report ids of sites and of hubs that differ only in letters, dashes or blanks that look alike."""
    for sheet, column, known in ((draft.sites, "site", draft.site_ids), (draft.pools, "hub", draft.hub_ids)):
        ids = sheet.frame[column].tolist()
        for name in known.ids if not all(map(str.isascii, known.ids)) else ():
            first = known.alike(name)[0]
            if first != name:
                place = sheet.place(ids.index(name), column)
                other = sheet.place(ids.index(first), column).cell
                draft.findings.add("ids_alike", place, column, value=show(name), other=other)


def resolve_hubs_of_sites(draft: Draft) -> None:
    """Give pinned and barred hubs the ids of the sheet Hubs; unknown ones become findings."""
    frame, hubs, findings = draft.sites.frame, draft.hub_ids, draft.findings
    pinned = resolve_column(draft.sites, "pinned_hub", hubs, findings, "pinned_unknown")
    frame["pinned_hub"] = _names(pinned, hubs, frame["pinned_hub"].mask(frame["pinned_hub"].map(is_unknown), ""))
    barred = frame["barred_hubs"].tolist()
    for position in [i for i, names in enumerate(barred) if names]:
        place = draft.sites.place(position, "barred_hubs")
        found = [resolve(name, hubs, place, "barred_hubs", findings, "barred_unknown") for name in barred[position]]
        barred[position] = tuple(hubs.ids[i] for i in found if i >= 0)
        if pinned[position] in found and pinned[position] >= 0:
            name = hubs.ids[pinned[position]]
            findings.add("pinned_barred", draft.sites.place(position, "pinned_hub"), "pinned_hub", value=f'"{name}"')
    frame["barred_hubs"] = pd.Series(barred, dtype=object)


def resolve_neighbours(draft: Draft) -> None:
    """Give neighbours the ids of the sites that they mean; unknown ones become findings and are left out."""
    frame, sites = draft.sites.frame, draft.site_ids
    named = frame["neighbours"].tolist()
    for position in [i for i, names in enumerate(named) if names]:
        place = draft.sites.place(position, "neighbours")
        found = [resolve(n, sites, place, "neighbours", draft.findings, "neighbour_unknown") for n in named[position]]
        named[position] = tuple(sites.ids[i] for i in found if i >= 0)
    frame["neighbours"] = pd.Series(named, dtype=object)


def resolve_current(draft: Draft) -> None:
    """Keep the rows of Current whose site and hub are known, and one row for each site that cannot be split."""
    read = draft.current
    if read is None:
        return
    pools = KnownIds.of(draft.pools.frame["pool"])
    site = resolve_column(read, "site", draft.site_ids, draft.findings, "site_unknown")
    hub = resolve_column(read, "hub", draft.hub_ids, draft.findings, "hub_unknown")
    pool = resolve_column(read, "pool", pools, draft.findings, "pool_unknown")
    read.frame["site"] = _names(site, draft.site_ids, read.frame["site"])
    read.frame["hub"] = _names(hub, draft.hub_ids, read.frame["hub"])
    read.frame["pool"] = _names(pool, pools, pd.Series([""] * len(pool), dtype=object))
    read = read.only((site >= 0) & (hub >= 0))
    one_name_each(read, draft.pools, draft.findings)
    draft.current = read.only(~_repeated(draft, read))
    check_pools_of_hosts(draft.current, draft.pools, draft.findings)


def _repeated(draft: Draft, read: TypedSheet) -> npt.NDArray[np.bool_]:
    """Return which rows of Current repeat a site: with the same host always, with another unless sites are split."""
    sites = read.frame["site"].tolist()
    rows = list(zip(sites, read.frame["hub"], read.frame["host"], strict=True))
    first_site, first_row = first_rows(sites), first_rows(rows)
    repeated = np.zeros(len(rows), dtype=np.bool_)
    for position in range(len(rows)):
        same = first_row[position] != position
        other = first_row[position] if same else first_site[position]
        if other == position or (draft.policy.policy.split_sites and not same):
            continue
        repeated[position] = True
        code = "current_same" if same else "current_repeated"
        place = read.place(position, "site")
        draft.findings.add(code, place, "site", value=f'"{sites[position]}"', other=read.place(other, "site").cell)
    return repeated


def resolve_links(draft: Draft) -> None:
    """Give the ends of links the ids of sites and hubs that they mean; other names are nodes of their own."""
    read = draft.links
    if read is None:
        return
    ends = KnownIds.of((*draft.site_ids.ids, *draft.hub_ids.ids))
    for column in ("from", "to"):
        found = resolve_column(read, column, ends, draft.findings, "")
        read.frame[column] = _names(found, ends, read.frame[column])


def _names(found: npt.NDArray[np.int64], known: KnownIds, written: "pd.Series[str]") -> "pd.Series[str]":
    """Return the known id of each row, and what was written where there is none."""
    names = [known.ids[i] if i >= 0 else text for i, text in zip(found, written, strict=True)]
    return pd.Series(names, dtype=object)
