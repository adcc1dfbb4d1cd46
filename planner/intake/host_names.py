"""Hosts that one hub names in several ways: letter case, look-alike letters, dashes and blanks make no other host."""

from __future__ import annotations

from collections import Counter, defaultdict

import pandas as pd

from planner.intake.findings import Findings, show
from planner.intake.lookalikes import skeleton
from planner.intake.tables import TypedSheet

HOST_LISTS = ("host_names", "retiring_hosts", "upgraded_hosts")


def one_name_each(current: TypedSheet, pools: TypedSheet, findings: Findings) -> None:
    """Give each host of Current one name: that of Hubs, else the one that most rows have; report the others.

    Names that Hubs itself tells apart by letter case stay as they are.
    """
    stated = _stated(pools)
    frame = current.frame
    rows = list(zip(frame["hub"], frame["host"], strict=True))
    written: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for hub, host in rows:
        if host:
            written[hub, host_key(host)][host] += 1
    names: dict[tuple[str, str], str] = {}
    for key, counts in written.items():
        known = stated.get(key) or [min(counts, key=lambda name: (-counts[name], name))]
        names |= {(key[0], name): known[0] for name in counts if len(known) == 1 and name != known[0]}
    for (hub, name), other in names.items():
        count = sum(row == (hub, name) for row in rows)
        told = f" in {count:,} cells" if count > 1 else ""
        place = current.place(rows.index((hub, name)), "host")
        findings.add("host_alike", place, "host", value=show(name), known=show(other), count=told)
    frame["host"] = pd.Series([names.get(row, row[1]) for row in rows], index=frame.index, dtype=object)


def _stated(pools: TypedSheet) -> dict[tuple[str, str], list[str]]:
    """Return the names that Hubs gives to hosts, by hub and key."""
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name in HOST_LISTS:
        for hub, hosts in zip(pools.frame["hub"], pools.frame[name], strict=True):
            for host in hosts:
                if host not in found[hub, host_key(host)]:
                    found[hub, host_key(host)].append(host)
    return found


def host_key(host: str) -> str:
    """Return what tells hosts of one hub apart.

    >>> host_key("ESK–01") == host_key("esk-01")
    True
    """
    return skeleton(host).casefold()
