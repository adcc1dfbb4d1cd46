"""The sheets of a plan workbook that are read back, described as the sheets of a fleet are in `planner.columns`."""

from __future__ import annotations

from typing import get_args

from planner.columns import Column, Sheet
from planner.outputs import headings
from planner.plan import Action, Evidence, Objective, Spared, Status

_SITE = Column(headings.SITE, "id", "id of the site", required=True)
_CLUSTERS = Column(headings.CLUSTERS, "whole", "clusters of the site on this host", required=True, least=0)

CLAIMS = (
    Column(headings.STATUS, "choice", "how the search ended", required=True, choices=get_args(Status)),
    Column(
        headings.OBJECTIVE,
        "choice",
        "what the plan makes as small as possible",
        required=True,
        choices=get_args(Objective),
    ),
    Column(headings.OBJECTIVE_VALUE, "number", "what the plan needs, in units of the objective", required=True),
    Column(headings.LOWER_BOUND, "number", "the least that any plan for the same sites needs", required=True),
)

HOSTS = Sheet(
    headings.HOSTS,
    "one row for each host",
    columns=(
        Column(headings.HOST, "id", "name of the host", required=True),
        Column(headings.HUB, "id", "hub where it stands", required=True),
        Column(headings.POOL, "id", "pool that it belongs to", required=True),
        Column(headings.RELEASE, "release", "release that it runs"),
        Column(headings.CLUSTERS, "whole", "clusters that it carries", required=True, least=0),
        Column(headings.CAP, "whole", "most clusters that it may carry", required=True, least=0),
        Column(headings.USABLE, "whole", "what reserve and blast radius leave of the cap", required=True, least=0),
        Column(headings.ORIGIN, "choice", "whether it runs already", required=True, choices=headings.ORIGINS),
    ),
    required=True,
)

ASSIGNMENTS = Sheet(
    headings.ASSIGNMENTS,
    "one row for each site and the host that serves it",
    columns=(
        _SITE,
        _CLUSTERS,
        Column(headings.HUB, "id", "hub of the host", required=True),
        Column(headings.HOST, "id", "host that serves the site", required=True),
        Column(headings.RTT, "number", "round-trip time", "ms", required=True),
        Column(headings.BUDGET, "number", "latency budget", "ms", required=True),
        Column(headings.EVIDENCE, "choice", "how the RTT is known", required=True, choices=get_args(Evidence)),
        Column(headings.MEASURED_AT, "moment", "when the RTT was measured"),
        Column(headings.RTT_LOW, "number", "low end of an estimated RTT", "ms"),
        Column(headings.RTT_HIGH, "number", "high end of an estimated RTT", "ms"),
        Column(headings.CURRENT_HOST, "id", "host before the plan"),
        Column(headings.ACTION, "choice", "what is to be done", required=True, choices=get_args(Action)),
        Column(headings.STANDBY, "id", "host that takes over"),
    ),
    required=True,
)

UNSERVED = Sheet(
    headings.UNSERVED,
    "one row for each site without a tie-breaker",
    columns=(
        _SITE,
        _CLUSTERS,
        Column(headings.CURRENT_HOST, "id", "host before the plan"),
        Column(headings.REASONS, "text", "broken rules, one a line"),
        Column(headings.REMEDY, "text", "what would serve it"),
    ),
    required=True,
)

STANDBYS = Sheet(
    headings.STANDBYS,
    "one row for each site, or for each part of a split one: who takes it over after a loss, or why nobody does",
    columns=(
        _SITE,
        Column(headings.STANDBY, "id", "host that takes over"),
        Column(headings.STANDBY_RTT, "number", "round-trip time to the standby", "ms"),
        Column(headings.REASONS, "text", "why there is no standby, one reason a line"),
    ),
)

NO_HOST_NEEDED = Sheet(
    headings.NO_HOST_NEEDED,
    "one row for each site that needs no shared host",
    columns=(_SITE, Column(headings.WHY, "choice", "why it needs none", required=True, choices=get_args(Spared))),
)
