"""The sheets of time and money: freezes of the rollout, dated changes and prices of the horizon."""

from __future__ import annotations

from planner.columns.kinds import Column, Sheet
from planner.columns.places import SITES

# fmt: off
FREEZES = Sheet(
    "Freezes",
    "periods in which the rollout changes nothing, in the local time of each site and hub",
    aliases=("freeze", "change_freezes", "freeze_periods"),
    columns=(
        Column("first", "date", "first day of the freeze", required=True, aliases=("from", "start", "starts"),
            example="2027-12-15"),
        Column("last", "date", (
            "last day of the freeze; it is part of the "
            "freeze"
        ), required=True, aliases=("to", "until", "end"),
            example="2028-01-03"),
        Column("regions", "ids", "regions of sites and hubs that are frozen; several with ;", default="all",
            aliases=("region",)),
        Column("reason", "text", "a remark for people; the planner does not use it", example="Christmas trade"),
    ),
)

CHANGES = Sheet(
    "Changes",
    "changes to come, for castingvote horizon: the day, and the column of a site or pool or the setting that changes",
    aliases=("dated_changes", "planned_changes"),
    columns=(
        Column("date", "date", "day from which the new value counts", required=True, aliases=("from_date", "day")),
        Column("site", "id", "the site that changes; blank for a pool or a setting", aliases=SITES.columns[0].aliases,
            example="0042"),
        Column("pool", "id", "the pool that changes; blank for a site or a setting", aliases=("pool_id",)),
        Column("column", "id", "column of Sites or Hubs, or setting, that changes", required=True,
            aliases=("what", "setting", "field"), example="clusters"),
        Column("value", "id", "the new value", aliases=("new_value", "to"), example="2"),
    ),
)

PRICES = Sheet(
    "Prices",
    "what equipment costs; needed where the objective is cost, for the horizon and for comparing designs",
    aliases=("price_list",),
    columns=(
        Column("item", "choice", "a data node, a tie-breaker host, or the own tie-breaker of one cluster",
            required=True, choices=("node", "host", "own_tie_breaker"), example="host"),
        Column("buy", "number", "price of buying and installing one piece", "money", default=0, least=0, example=900),
        Column("yearly", "number", "licence, support and rent of one piece", "money a year", default=0, least=0,
            example=120),
        Column("watts", "number", "power that one piece draws, cooling included", "W", default=0, least=0, example=60),
        Column("visits", "number", "visits on site that one piece needs in a year", default=0, least=0, example=0.2),
    ),
)
# fmt: on
