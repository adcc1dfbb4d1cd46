"""The settings of the Policy sheet."""

from __future__ import annotations

from planner.columns.common import uptime
from planner.columns.kinds import Column, Sheet

# fmt: off
SETTINGS = (
    Column("cluster_cap", "whole", "most clusters on one host", "clusters", default=64, least=1, most=1_000_000),
    Column("release_floor", "release", "oldest release that may use a shared host"),
    Column("latency_budget_ms", "number", "largest round-trip time; must be given here or for each site",
        "ms, round trip", least=0, least_excluded=True),
    Column("reserve_percent", "number", "share of the cap kept free for growth; what is left is rounded down to whole "
        "clusters", "%", default=0, least=0, most=99),
    Column("cover", "choice", "the one loss that the plan must survive without overfilling a host: any host, any "
        "hub, or any failure zone of hubs (each hub also counts as a zone)", default="none",
        choices=("none", "host", "hub", "zone")),
    Column("loss_uses_reserve", "choice", "yes: while a loss lasts, standbys may fill hosts up to the cap; "
        "no: the reserve stays free then too", default="no", choices=("yes", "no")),
    Column("loss_latency_budget_ms", "number", "largest round-trip time to a standby, which serves while a loss lasts; "
        "it counts where it is above the latency budget of the site", "ms, round trip", least=0, least_excluded=True),
    Column("max_blast_radius", "whole", "most clusters that one host's loss may hit", "clusters", least=1),
    Column("max_blast_radius_hub", "whole", "most clusters that one hub's loss may hit", "clusters", least=1),
    Column("max_blast_radius_zone", "whole",
        "most clusters that the loss of one failure zone of hubs may hit (each hub also counts as a zone)", "clusters",
        least=1),
    Column("max_share_percent", "number", "largest share of the fleet's weight that the loss of one host may hit. "
        "The fleet's weight is that of all sites that need a shared host, served or not. A site split over hosts "
        "counts at each host by its clusters there", "%",
        least=0, least_excluded=True, most=100),
    Column("max_share_percent_hub", "number", "largest share of the fleet's weight that one hub's loss may hit", "%",
        least=0, least_excluded=True, most=100),
    Column("max_share_percent_zone", "number", "largest share of the fleet's weight that the loss of one "
        "failure zone of hubs may hit (each hub also counts as a zone)", "%", least=0, least_excluded=True, most=100),
    Column("host_release_rule", "choice",
        "not_older: host release >= every served site's release; same_major: equal first number; any",
        default="not_older", choices=("not_older", "any", "same_major")),
    Column("unknown_latency", "choice",
        "what a pair without a known RTT is: ineligible, or its RTT is estimated from the "
        "distance", default="ineligible",
        choices=("ineligible", "estimate")),
    Column("accepted_evidence", "choice",
        "weakest kind of round-trip time that the plan may use; pairs with a weaker kind are shown, but not used",
        default="estimated", choices=("measured", "modelled", "estimated")),
    Column("max_age_days", "whole", "measurements older than this, or without a date, are old; blank is off", "days",
        least=0, most=100_000),
    Column("old_latency", "choice", (
        "what an old measurement does: warn only, or make its pair of site and hub "
        "ineligible"
    ), default="warn",
        choices=("warn", "ineligible")),
    Column("as_of", "date", (
        "day for which the age of measurements is counted; blank: the day on which the fleet is "
        "read"
    )),
    Column("third_location_km", "number",
        "shortest distance allowed between a site and the hub that carries its third vote; 0 is "
        "off", "km", default=0, least=0),
    Column("objective", "choice",
        "what the plan makes as small as possible: hosts that run, hosts to add, or money a year",
        default="hosts",
        choices=("hosts", "new_hosts", "cost")),
    Column("then", "text", "further aims, in order, to choose between equally good plans: moves, latency, "
        "margin (worst latency margin), spread (largest load of a host), or an aim of your own",
        default="moves latency"),
    Column("tie_breaker_kbps", "number", "default value: used for each site whose tie_breaker_kbps is blank; 0 is off",
        "kb/s", default=0, least=0),
    Column("management_floor", "release", (
        "readiness: clusters with an older release than this need a management server at another "
        "location"
    )),
    Column("node_link_gbps", "number", "readiness: lowest speed of the link between the data nodes", "Gb/s", default=10,
        least=0),
    Column("node_links", "whole", "readiness: fewest cables between the data nodes", default=2, least=0,
        most=1_000),
    Column("service_link_gbps", "number", "readiness: lowest speed of the links for management and tie-breaker traffic",
        "Gb/s", default=1, least=0),
    Column("uplink_share_percent", "number", (
        "readiness: largest share of a site's uplink that tie-breaker traffic may "
        "take"
    ),
        "%", default=100, least=0, least_excluded=True, most=100),
    Column("split_sites", "choice", "yes: the clusters of one site may use several hosts", default="no",
        choices=("yes", "no")),
    Column("keep_served", "choice",
        "yes: where not everybody can be served, sites that are served today come before all others", default="no",
        choices=("yes", "no")),
    Column("max_hosts_per_hub", "whole", "default value: used for each pool whose max_hosts is blank", "hosts",
        default=10, least=0, most=100_000),
    Column("host_rack_units", "whole", "default value: used for each pool whose host_rack_units is blank", "U",
        default=1, least=1, most=1_000),
    Column("percentile", "number", "percentile of the samples that counts as the RTT", "%", default=95, least=0,
        least_excluded=True, most=100),
    Column("max_loss_percent", "number", (
        "largest share of lost probes with which a pair may be "
        "used"
    ), "%", default=1, least=0,
        most=100),
    Column("fleet_id", "text", "name that the fleet keeps when files and hubs change; plans, rollouts and "
        "calendars carry it; if blank, an id is made from the hub ids", example="shops-north"),
    Column("last_plan", "whole", "number of the last plan of this fleet: the next one counts on from it. progress "
        "--write-fleet fills it in", least=1, most=1_000_000),
    Column("last_plan_hash", "text", "hash of that plan"),
    Column("last_plan_follows", "text", "hash of the plan before that one"),
    Column("currency", "text", "currency of every price", example="GBP"),
    Column("host_cost", "number", (
        "default value: used for each pool whose host_cost is blank; the sheet Prices can give it "
        "instead"
    ),
        "money a year", least=0),
    Column("own_tie_breaker_cost", "number",
        "default value: used for each site whose own_tie_breaker_cost is blank; the sheet Prices can give it instead",
        "money a year", least=0),
    Column("host_release", "release", "default value: used for each pool whose host_release is blank"),
    Column("timezone", "timezone", "default value: used for each site whose timezone is blank"),
    Column("window", "window", "default value: used for each site whose window is blank"),
    Column("rollout_start", "date", "first day of the rollout; without it the day after today"),
    Column("sites_per_wave", "whole", "most sites changed in one wave", "sites", least=1),
    Column("sites_per_region", "whole", "most sites of one region changed in one wave", "sites", least=1),
    Column("sites_per_host", "whole", "most sites that leave or join one host in one wave", "sites", least=1),
    Column("sites_per_crew", "whole", "most sites that one crew changes in one wave", "sites", least=1),
    Column("crews", "whole", "crews without a name, each at one site at a time", "crews", default=1, least=1,
        most=100_000),
    Column("pilot_sites", "whole", "most sites of the first wave that changes sites; 0: no pilot", "sites", default=3,
        least=0),
    Column("wave_growth", "number", "growth after the pilot: the limit on the sites of a wave is this number times the "
        "limit of the wave before it", default=3, least=1),
    Column("pilot_days", "whole", "days between the pilot and the next wave that changes sites", "days", default=1,
        least=1, most=3_650),
    Column("neighbour_days", "whole", "fewest days between the waves of neighbours", "days", default=1, least=1,
        most=3_650),
    Column("site_minutes", "whole", "how long one change at a site takes", "minutes", default=30, least=1, most=720),
    Column("host_minutes", "whole", "how long one change of a host takes", "minutes", default=120, least=1, most=720),
    *uptime("node", "a data node", None),
    *uptime("site_uplink", "a site's uplink", None),
    *uptime("host", "a host", None),
    *uptime("hub", "a hub itself", None),
    *uptime("hub_uplink", "a hub's uplink", None),
    Column("rehoming_minutes", "number", "time from the loss of a host until its sites use their standby tie-breakers",
        "minutes", least=0),
    Column("period", "choice", "length of one period of castingvote horizon", default="year",
        choices=("year", "quarter", "month")),
    Column("periods", "whole", "number of periods of castingvote horizon", default=5, least=1, most=240),
    Column("discount_percent", "number", "discount rate: how much less a payment counts for each year that it is later",
        "% a year", default=0, least=0, most=100),
    Column("years", "number",
        "years over which designs are compared; where the objective is cost, purchase prices are spread over them too",
        default=5, least=0, least_excluded=True, most=50),
    Column("kwh_cost", "number", "price of a kilowatt-hour", "money", default=0, least=0),
    Column("visit_cost", "number", "price of one visit on site", "money", default=0, least=0),
    Column("lead_time_days", "whole", "for each pool whose lead_time_days is blank, and for own tie-breakers; "
        "blank: no order-by dates", "days", least=0, most=3_650),
    Column("spare_percent", "number", "spare hosts to buy with a rollout, as a share of all hosts of the plan; rounded "
        "up to whole hosts", "%", default=0, least=0, most=100),
)

POLICY = Sheet(
    "Policy",
    "settings of the whole plan; what is left out takes its default",
    aliases=("settings", "policies"),
    columns=(
        Column("setting", "id", "name of the setting", required=True, aliases=("name", "key")),
        Column("value", "text", "its value", required=True),
    ),
)
# fmt: on
