"""Rows of Assignments without a host: sites that leave theirs for a tie-breaker of their own.

The plan has no such rows. `progress` adds them where a rollout workbook says what became of these sites.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from planner.fleet import Bools
from planner.intake.names import plain
from planner.intake.rawtable import RawTable, is_blank
from planner.outputs import headings


def leaving_rows(table: RawTable, spared: Collection[str]) -> Bools:
    """Return which rows of ``table`` name no host and a site of ``spared``, the sites that need none."""
    heads = [plain(head) for head in table.headers]
    if not spared or not {headings.SITE, headings.HOST} <= set(heads):
        return np.zeros(len(table.rows), dtype=np.bool_)
    sites, hosts = (table.columns[heads.index(name)] for name in (headings.SITE, headings.HOST))
    rows = zip(sites, hosts, strict=True)
    return np.array([is_blank(host) and str(site).strip() in spared for site, host in rows], dtype=np.bool_)
