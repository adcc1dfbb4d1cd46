"""The one table of every input column and setting.

Intake, checks, the empty template, README.md and DEVELOPERS.md are derived from it: to add a column,
add a row here and read it where it matters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "id",  # text key; case and leading zeros are kept
    "ids",  # several ids separated by ";", read as a tuple
    "text",
    "whole",  # whole number, held as float so that a blank is NaN
    "number",
    "release",  # version text, see planner.releases
    "date",
    "moment",  # date with time of day
    "choice",  # one of `choices`
    "timezone",  # IANA name
    "window",  # e.g. "Sun 22:00-04:00", several separated by ";"
]


@dataclass(frozen=True, slots=True)
class Column:
    """One input column, or one setting of the Policy sheet.

    ``default`` is what a blank means: text for people where another setting supplies it
    (``"policy"``), else the value itself, else ``None`` (nothing is assumed). ``least`` and ``most``
    are inclusive unless ``least_excluded``.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    default: str | float | None = None
    required: bool = False
    aliases: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    least_excluded: bool = False
    choices: tuple[str, ...] = ()
    example: str | float = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of the fleet workbook: its name, its columns and whether a fleet needs it."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    required: bool = False
    aliases: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column called ``name``; KeyError when there is none."""
        return {column.name: column for column in self.columns}[name]

    @property
    def names(self) -> tuple[str, ...]:
        """Canonical column names in the order of the template."""
        return tuple(c.name for c in self.columns)


# fmt: off
_LATITUDE = Column(
    "latitude",
    "number",
    "north is positive; for distances and the map",
    "degrees, WGS 84",
    aliases=("lat",),
    least=-90,
    most=90,
    example=54.9,
)
_LONGITUDE = Column(
    "longitude",
    "number",
    "east is positive; for distances and the map",
    "degrees, WGS 84",
    aliases=("lon", "lng", "long"),
    least=-180,
    most=180,
    example=-1.6,
)
_ZONE = Column(
    "zone",
    "ids",
    "failure zones it lies in: a building, a power feed, a WAN provider; several with ;",
    aliases=("zones", "failure_zone", "failure_zones", "fault_domain"),
    example="power-north",
)


def _uptime(part: str, words: str, default: str | None = "policy") -> tuple[Column, ...]:
    """Return the three columns, or settings, that say how often a part is down; percent or hours will do."""
    return (
        Column(f"{part}_availability_percent", "number", f"share of time that {words} is up; 100 leaves it out", "%",
            default=default, least=0, most=100),
        Column(f"{part}_mtbf_hours", "number", f"instead of percent: mean time up of {words}, repair to next failure",
            "hours", default=default, least=0, least_excluded=True),
        Column(f"{part}_mttr_hours", "number", f"mean time to repair of {words}", "hours", default=default, least=0),
    )


SITES = Sheet(
    "Sites",
    "one row for each branch location",
    required=True,
    aliases=("site", "branches", "locations", "stores"),
    columns=(
        Column("site", "id", "unique id of the site", required=True,
            aliases=("site_id", "branch", "branch_id", "store", "store_id", "location_id"), example="0042"),
        Column("name", "text", "for people", aliases=("site_name", "branch_name"), example="Alder Street"),
        Column("region", "text", "for people and for hubs that serve certain regions", example="North"),
        Column("owner", "text", "who answers for the site", aliases=("contact",), example="Retail North"),
        _LATITUDE,
        _LONGITUDE,
        Column("clusters", "whole", "two-node clusters at the site; they stay on one host unless split_sites is yes",
            default=1, aliases=("cluster_count", "number_of_clusters"), least=0, example=1),
        Column("release", "release", "version that the site's clusters run",
            aliases=("version", "cluster_release", "software_release", "software_version"), example="8.2"),
        Column("latency_budget_ms", "number",
            "largest round-trip time that the site tolerates; the limit itself is allowed", "ms, round trip",
            default="policy", aliases=("latency_budget", "budget_ms", "max_rtt_ms", "rtt_budget_ms"), least=0,
            least_excluded=True, example=40),
        Column("weight", "number", "what the site counts for when not all sites can be served", default=1,
            aliases=("priority_weight", "importance"), least=0, least_excluded=True, example=1),
        _ZONE,
        Column("pinned_hub", "id", "hub that must carry the site", aliases=("pinned", "fixed_hub")),
        Column("barred_hubs", "ids", "hubs that must not carry the site; several with ;",
            aliases=("barred_hub", "excluded_hubs")),
        Column("own_tie_breaker", "choice",
            "yes: the enclosure carries a third voter, no shared host needed; possible: the plan may choose it",
            default="no", choices=("yes", "no", "possible"), aliases=("own_tiebreaker", "built_in_tie_breaker"),
            example="no"),
        Column("own_tie_breaker_cost", "number",
            "price of the site's own tie-breaker over the planning period, where it is possible", "money",
            default="policy", least=0),
        Column("nodes", "whole", "data nodes of a cluster; checked to be 2", default=2, least=1, example=2),
        Column("node_locations", "whole", "locations that the data nodes of one cluster stand in; checked to be 1",
            least=1, example=1),
        Column("node_link", "choice", "link between the two data nodes", choices=("direct", "switched"),
            example="direct"),
        Column("node_link_gbps", "number", "speed of that link", "Gb/s", least=0, least_excluded=True, example=25),
        Column("uplink_mbps", "number", "the site's WAN uplink", "Mb/s", aliases=("wan_mbps", "uplink"), least=0,
            least_excluded=True, example=50),
        Column("tie_breaker_kbps", "number", "tie-breaker traffic of one cluster, against the hub's uplink", "kb/s",
            default="policy", least=0),
        Column("tie_breaker_net", "text", "VLAN id or CIDR of the tie-breaker traffic",
            aliases=("tiebreaker_net", "tie_breaker_network"), example="30"),
        Column("storage_net", "text", "VLAN id or CIDR of the storage traffic", aliases=("storage_network",),
            example="10"),
        Column("management_net", "text", "VLAN id or CIDR of the management traffic",
            aliases=("management_network", "mgmt_net"), example="20"),
        Column("timezone", "timezone", "IANA time zone of the site", default="policy", aliases=("time_zone", "tz"),
            example="Europe/London"),
        Column("window", "window", "when the site may be changed, local time", default="policy",
            aliases=("maintenance_window", "change_window"), example="Sun 22:00-04:00"),
        Column("crew", "text", "crew that changes the site, one site at a time; blank: any crew without a name",
            aliases=("team", "rollout_crew"), example="North"),
        Column("neighbours", "ids", "sites that stand in for this one: never changed in one wave; several with ;",
            aliases=("neighbors", "standby_sites", "neighbour_sites")),
        Column("target_release", "release",
            "version that the rollout raises the site's clusters to; the plan is made for it", default="release",
            aliases=("release_target", "planned_release", "new_release")),
        Column("opens", "date", "first day of the site", aliases=("opening_date", "open_date")),
        Column("closes", "date", "last day of the site", aliases=("closing_date", "close_date")),
        *_uptime("node", "a data node"),
        *_uptime("site_uplink", "the site's uplink"),
    ),
)

HUBS = Sheet(
    "Hubs",
    "one row for each pool of identical hosts that a location can hold",
    required=True,
    aliases=("hub", "pools", "host_pools"),
    columns=(
        Column("hub", "id", "id of the location; several rows with one hub id are several pools there", required=True,
            aliases=("hub_id", "data_centre", "datacentre", "data_center", "datacenter"), example="ESK"),
        Column("pool", "id", "unique id of the pool", default="hub id", aliases=("pool_id", "host_pool"),
            example="ESK"),
        Column("name", "text", "for people", aliases=("hub_name",), example="Eskdale data centre"),
        Column("region", "text", "for people", example="North"),
        _LATITUDE,
        _LONGITUDE,
        _ZONE,
        Column("max_hosts", "whole", "most hosts of this pool that fit", default="policy max_hosts_per_hub",
            aliases=("host_limit", "maximum_hosts"), least=0, example=4),
        Column("existing_hosts", "whole", "hosts already running there", default=0,
            aliases=("hosts_existing", "current_hosts"), least=0, example=1),
        Column("retiring_hosts", "ids",
            "names of existing hosts that are to be emptied; each keeps its place in max_hosts; several with ;",
            aliases=("draining_hosts", "leaving_hosts")),
        Column("host_release", "release", "version of this pool's hosts", default="policy", example="8.4"),
        Column("cluster_cap", "whole", "most clusters on one host", "clusters", default="policy",
            aliases=("cap", "clusters_per_host"), least=1, example=64),
        Column("host_cost", "number", "price of running one host over the planning period", "money", default="policy",
            aliases=("cost_per_host",), least=0, example=1200),
        Column("uplink_mbps", "number", "uplink shared by all hosts at the hub", "Mb/s", aliases=("uplink",), least=0,
            least_excluded=True, example=1000),
        Column("serves_regions", "ids", "regions that the pool may serve; several with ;", default="all",
            aliases=("regions_served", "serves")),
        Column("host_release_today", "release",
            "version that the existing hosts run today, where the rollout brings them to host_release",
            default="host_release", aliases=("current_host_release", "release_today")),
        Column("timezone", "timezone", "IANA time zone of the hub", default="policy", aliases=("time_zone", "tz"),
            example="Europe/London"),
        Column("window", "window", "when hosts may be installed, changed and retired, local time", default="policy",
            aliases=("maintenance_window", "change_window"), example="Sun 22:00-04:00"),
        *_uptime("host", "a host of the pool"),
        *_uptime("hub", "the hub itself"),
        *_uptime("hub_uplink", "the hub's uplink"),
        Column("opens", "date", "first day on which hosts can run there; for the horizon",
            aliases=("opening_date", "open_date")),
        Column("closes", "date", "last day on which hosts can run there; for the horizon",
            aliases=("closing_date", "close_date")),
    ),
)

LATENCY = Sheet(
    "Latency",
    "measured round-trip times, as a list of pairs or as a matrix with one column for each hub",
    aliases=("rtt", "latencies", "round_trip_times", "latency_matrix"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("rtt_ms", "number", "round-trip time; blank means unknown, never zero", "ms", required=True,
            aliases=("rtt", "latency_ms", "latency", "round_trip_ms"), least=0, least_excluded=True, most=60000,
            example=18.4),
        Column("measured_at", "moment", "when it was measured", aliases=("measured", "measured_on")),
        Column("loss_percent", "number", "probes that were lost", "%", aliases=("loss", "packet_loss_percent"), least=0,
            most=100, example=0),
        Column("pair_cost", "number",
            "yearly circuit or transit cost of this pair; then host_cost is for a year too", "money", default=0,
            aliases=("circuit_cost", "transit_cost"), least=0),
    ),
)

SAMPLES = Sheet(
    "Samples",
    "single probes; reduced to the policy's percentile",
    aliases=("probes", "latency_samples"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("at", "moment", "when the probe was sent", aliases=("time", "timestamp", "sent_at")),
        Column("rtt_ms", "number", "round-trip time of the probe; blank means lost", "ms", required=True,
            aliases=("rtt", "latency_ms"), least=0, least_excluded=True, most=60000, example=18.4),
    ),
)

LINKS = Sheet(
    "Links",
    "WAN links; the shortest path gives a modelled round-trip time where none was measured",
    aliases=("wan_links", "wan"),
    columns=(
        Column("from", "id", "site, hub or any other node", required=True, aliases=("from_node", "a_end"),
            example="0042"),
        Column("to", "id", "site, hub or any other node", required=True, aliases=("to_node", "b_end"), example="ESK"),
        Column("latency_ms", "number", "one-way delay of the link, either direction", "ms, one way",
            aliases=("delay_ms",), least=0, most=60000, example=4.2),
        Column("km", "number", "route length, used where latency_ms is blank (5 µs/km)", "km",
            aliases=("length_km", "route_km", "distance_km"), least=0, most=50000),
        Column("air_km", "number",
            "distance as the crow flies, where the route length is not known; lengthened by the route rule", "km",
            aliases=("straight_km", "crow_flies_km"), least=0, most=20100),
    ),
)

CURRENT = Sheet(
    "Current",
    "who serves whom today",
    aliases=("current_assignments", "today"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("host", "id", "name of the host", aliases=("host_name", "tie_breaker_host"), example="ESK-01"),
    ),
)

FREEZES = Sheet(
    "Freezes",
    "stretches of days on which the rollout changes nothing, local time of each site and hub",
    aliases=("freeze", "change_freezes", "freeze_periods"),
    columns=(
        Column("first", "date", "first day of the freeze", required=True, aliases=("from", "start", "starts"),
            example="2027-12-15"),
        Column("last", "date", "last day of the freeze, frozen too", required=True, aliases=("to", "until", "end"),
            example="2028-01-03"),
        Column("regions", "ids", "regions of sites and hubs that are frozen; several with ;", default="all",
            aliases=("region",)),
        Column("reason", "text", "for people", example="Christmas trade"),
    ),
)

CHANGES = Sheet(
    "Changes",
    "what changes on which day, for the horizon: a column of one site, of one pool, or a setting",
    aliases=("dated_changes", "planned_changes"),
    columns=(
        Column("date", "date", "day from which the new value counts", required=True, aliases=("from_date", "day")),
        Column("site", "id", "the site that changes; blank for a pool or a setting", aliases=SITES.columns[0].aliases,
            example="0042"),
        Column("pool", "id", "the pool that changes; blank for a site or a setting", aliases=("pool_id",)),
        Column("column", "id", "column of Sites or Hubs, or setting, that changes", required=True,
            aliases=("what", "setting", "field"), example="clusters"),
        Column("value", "id", "its new value", aliases=("new_value", "to"), example="2"),
    ),
)

PRICES = Sheet(
    "Prices",
    "what equipment costs, for the horizon and for comparing designs",
    aliases=("price_list",),
    columns=(
        Column("item", "choice", "a data node, a tie-breaker host, or a site's own tie-breaker", required=True,
            choices=("node", "host", "own_tie_breaker"), example="host"),
        Column("buy", "number", "price of buying and installing one", "money", default=0, least=0, example=900),
        Column("yearly", "number", "licence, support and rent of one for a year", "money", default=0, least=0,
            example=120),
        Column("watts", "number", "power that one draws, cooling included", "W", default=0, least=0, example=60),
        Column("visits", "number", "visits on site that one needs in a year", default=0, least=0, example=0.2),
    ),
)

SETTINGS = (
    Column("cluster_cap", "whole", "most clusters on one host", "clusters", default=64, least=1),
    Column("release_floor", "release", "oldest release that may use a shared host"),
    Column("latency_budget_ms", "number", "largest round-trip time; must be given here or for each site",
        "ms, round trip", least=0, least_excluded=True),
    Column("reserve_percent", "number", "share of the cap kept free for growth", "%", default=0, least=0, most=99),
    Column("cover", "choice", "loss that the plan survives without overfilling a host: any one host, hub, or failure "
        "zone of hubs (a hub is one of its own)", default="none", choices=("none", "host", "hub", "zone")),
    Column("max_blast_radius", "whole", "most clusters that one host's loss may hit", "clusters", least=1),
    Column("host_release_rule", "choice",
        "not_older: host release >= every served site's release; same_major: equal first number; any",
        default="not_older", choices=("not_older", "any", "same_major")),
    Column("unknown_latency", "choice",
        "a pair without a known RTT is ineligible, or its RTT is estimated from the distance", default="ineligible",
        choices=("ineligible", "estimate")),
    Column("accepted_evidence", "choice",
        "weakest evidence for an RTT that a site may be served on; weaker pairs are shown, but ineligible",
        default="estimated", choices=("measured", "modelled", "estimated")),
    Column("max_age_days", "whole", "measurements older than this, or without a date, are old; blank is off", "days",
        least=0),
    Column("old_latency", "choice", "an old measurement is warned of, or makes its pair ineligible", default="warn",
        choices=("warn", "ineligible")),
    Column("as_of", "date", "day on which the age of measurements counts; blank is the day of reading"),
    Column("third_location_km", "number",
        "least distance between a site and the hub that carries its third vote; 0 is off", "km", default=0, least=0),
    Column("objective", "choice", "what to make small: hosts that run, hosts to add, or money", default="hosts",
        choices=("hosts", "new_hosts", "cost")),
    Column("then", "text", "aims among equals, in order: moves, latency, margin (worst latency margin), spread "
        "(largest load of a host)", default="moves latency"),
    Column("tie_breaker_kbps", "number", "for each site whose tie_breaker_kbps is blank; 0 is off", "kb/s", default=0,
        least=0),
    Column("management_floor", "release", "readiness: older clusters need a management server elsewhere"),
    Column("node_link_gbps", "number", "readiness: least speed of the link between the data nodes", "Gb/s", default=10,
        least=0),
    Column("uplink_share_percent", "number", "readiness: most of a site's uplink that tie-breaker traffic may take",
        "%", default=100, least=0, least_excluded=True, most=100),
    Column("split_sites", "choice", "yes: the clusters of one site may use several hosts", default="no",
        choices=("yes", "no")),
    Column("max_hosts_per_hub", "whole", "for each pool whose max_hosts is blank", "hosts", default=10, least=0),
    Column("percentile", "number", "percentile of the samples that counts as the RTT", "%", default=95, least=0,
        least_excluded=True, most=100),
    Column("max_loss_percent", "number", "most lost probes of a pair that may be used", "%", default=1, least=0,
        most=100),
    Column("currency", "text", "currency of every price", example="GBP"),
    Column("host_cost", "number", "for each pool whose host_cost is blank", "money", least=0),
    Column("own_tie_breaker_cost", "number", "for each site whose own_tie_breaker_cost is blank", "money", least=0),
    Column("host_release", "release", "for each pool whose host_release is blank"),
    Column("timezone", "timezone", "for each site whose timezone is blank"),
    Column("window", "window", "for each site whose window is blank"),
    Column("rollout_start", "date", "first day of the rollout; without it the day after today"),
    Column("sites_per_wave", "whole", "most sites changed in one wave", "sites", least=1),
    Column("sites_per_region", "whole", "most sites of one region changed in one wave", "sites", least=1),
    Column("sites_per_host", "whole", "most sites that leave or join one host in one wave", "sites", least=1),
    Column("sites_per_crew", "whole", "most sites that one crew changes in one wave", "sites", least=1),
    Column("crews", "whole", "crews without a name, each at one site at a time", "crews", default=1, least=1),
    Column("pilot_sites", "whole", "most sites of the first wave that changes sites; 0: no pilot", "sites", default=3,
        least=0),
    Column("wave_growth", "number", "each wave after the pilot changes at most so many times the sites that the one "
        "before it might", default=3, least=1),
    Column("pilot_days", "whole", "days between the pilot and the next wave that changes sites", "days", default=1,
        least=1),
    Column("neighbour_days", "whole", "least days between the waves of neighbours", "days", default=1, least=1),
    Column("site_minutes", "whole", "how long one change at a site takes", "minutes", default=30, least=1, most=720),
    Column("host_minutes", "whole", "how long one change of a host takes", "minutes", default=120, least=1, most=720),
    *_uptime("node", "a data node", None),
    *_uptime("site_uplink", "a site's uplink", None),
    *_uptime("host", "a host", None),
    *_uptime("hub", "a hub itself", None),
    *_uptime("hub_uplink", "a hub's uplink", None),
    Column("rehoming_minutes", "number", "from the loss of a host until its sites vote through their standbys",
        "minutes", least=0),
    Column("period", "choice", "length of one step of the horizon", default="year",
        choices=("year", "quarter", "month")),
    Column("periods", "whole", "steps of the horizon", default=5, least=1, most=240),
    Column("discount_percent", "number", "what a year's delay of a payment is worth", "% a year", default=0, least=0,
        most=100),
    Column("years", "number", "years over which designs are compared", default=5, least=0, least_excluded=True,
        most=50),
    Column("kwh_cost", "number", "price of a kilowatt-hour", "money", default=0, least=0),
    Column("visit_cost", "number", "price of one visit on site", "money", default=0, least=0),
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

SHEETS = (SITES, HUBS, LATENCY, SAMPLES, LINKS, CURRENT, FREEZES, CHANGES, PRICES, POLICY)
# fmt: on
