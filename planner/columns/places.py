"""The sheets of places: sites and hubs."""

from __future__ import annotations

from planner.columns.common import LATITUDE, LONGITUDE, ZONE, uptime
from planner.columns.kinds import Column, Sheet

# fmt: off
SITES = Sheet(
    "Sites",
    "one row for each branch location",
    required=True,
    aliases=("site", "branches", "locations", "stores"),
    columns=(
        Column("site", "id", "unique id of the site", required=True,
            aliases=("site_id", "branch", "branch_id", "store", "store_id", "location_id"), example="0042"),
        Column("name", "text", (
            "name of the site, for people; the planner uses the "
            "id"
        ), aliases=("site_name", "branch_name"), example="Alder Street"),
        Column("region", "text", "region of the site; a hub may serve certain regions only", example="North"),
        Column("owner", "text", (
            "person or team who is responsible for the "
            "site"
        ), aliases=("contact",), example="Retail North"),
        LATITUDE,
        LONGITUDE,
        Column("clusters", "whole", "two-node clusters at the site; they stay on one host unless split_sites is yes",
            default=1, aliases=("cluster_count", "number_of_clusters"), least=0, most=1_000_000,
            example=1),
        Column("release", "release", "version that the site's clusters run",
            aliases=("version", "cluster_release", "software_release", "software_version"), example="8.2"),
        Column("latency_budget_ms", "number",
            "largest round-trip time that the site tolerates; the limit itself is allowed", "ms, round trip",
            default="policy", aliases=("latency_budget", "budget_ms", "max_rtt_ms", "rtt_budget_ms"), least=0,
            least_excluded=True, example=40),
        Column("loss_latency_budget_ms", "number",
            "largest round-trip time to the site's standby, which serves while a loss lasts; it counts where it is "
            "above the latency budget", "ms, round trip", default="policy", aliases=("standby_budget_ms",), least=0,
            least_excluded=True),
        Column("weight", "number", (
            "how much the site counts when not all sites can be served; more is more "
            "important"
        ), default=1,
            aliases=("priority_weight", "importance"), least=0, least_excluded=True, example=1),
        ZONE,
        Column("pinned_hub", "id", "hub that must carry the site", aliases=("pinned", "fixed_hub")),
        Column("barred_hubs", "ids", "hubs that must not carry the site; several with ;",
            aliases=("barred_hub", "excluded_hubs")),
        Column("own_tie_breaker", "choice",
            "yes: the site has its own tie-breaker, and needs no shared host; possible: the plan may choose one",
            default="no", choices=("yes", "no", "possible"), aliases=("own_tiebreaker", "built_in_tie_breaker"),
            example="no"),
        Column("own_tie_breaker_cost", "number",
            "what running the site's own tie-breaker costs, where it is possible; buying is in Prices", "money a year",
            default="policy", least=0),
        Column("nodes", "whole", "data nodes of a cluster; must be 2", default=2, least=1, example=2),
        Column("node_locations", "whole", "locations that the data nodes of one cluster stand in; must be 1",
            least=1, example=1),
        Column("node_link", "choice", "kind of the link between the two data nodes", choices=("direct", "switched"),
            example="direct"),
        Column("node_link_gbps", "number", "speed of that link", "Gb/s", least=0, least_excluded=True, example=25),
        Column("node_links", "whole", "cables that this link is made of", least=0, example=2),
        Column("service_link_gbps", "number", "speed of the links for management and tie-breaker traffic", "Gb/s",
            aliases=("management_link_gbps",), least=0, least_excluded=True, example=1),
        Column("storage_tiers", "whole", "tiers of a data node's storage: 1, or 2 with a cache in front",
            least=1, most=2, example=2),
        Column("storage_groups", "whole", "storage groups of each data node", least=0, example=1),
        Column("cache_devices", "whole", "cache devices of each data node", least=0, example=1),
        Column("uplink_mbps", "number", (
            "speed of the site's WAN "
            "uplink"
        ), "Mb/s", aliases=("wan_mbps", "uplink"), least=0,
            least_excluded=True, example=50),
        Column("tie_breaker_kbps", "number", (
            "tie-breaker traffic of one cluster; that of all sites at a hub must fit its "
            "uplink"
        ), "kb/s",
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
        Column("priority", "whole", "order of changes in a rollout, 1 before 2; sites without a third vote come "
            "before all", default="last", least=1, most=1000, aliases=("rollout_priority", "order")),
        Column("neighbours", "ids",
            "sites that take over the work of this one when it is down; they are never changed in "
            "the same wave; several with ;",
            aliases=("neighbors", "standby_sites", "neighbour_sites")),
        Column("target_release", "release",
            "version that the rollout raises the site's clusters to; the plan is made for it", default="release",
            aliases=("release_target", "planned_release", "new_release")),
        Column("opens", "date", "first day of the site", aliases=("opening_date", "open_date")),
        Column("closes", "date", "last day of the site", aliases=("closing_date", "close_date")),
        *uptime("node", "a data node"),
        *uptime("site_uplink", "the site's uplink"),
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
        Column("name", "text", (
            "name of the hub, for people; the planner uses the "
            "id"
        ), aliases=("hub_name",), example="Eskdale data centre"),
        Column("region", "text", "region of the hub; a freeze may hold for certain regions only", example="North"),
        LATITUDE,
        LONGITUDE,
        ZONE,
        Column("max_hosts", "whole", "most hosts of this pool that fit", default="policy max_hosts_per_hub",
            aliases=("host_limit", "maximum_hosts"), least=0, most=100_000, example=4),
        Column("existing_hosts", "whole", "hosts already running there", default="those that Current speaks for",
            aliases=("hosts_existing", "current_hosts"), least=0, most=100_000, example=1),
        Column("host_names", "ids", "names of all hosts that run there, also of hosts without sites; several with ;",
            aliases=("running_hosts", "names_of_hosts")),
        Column("retiring_hosts", "ids",
            "names of existing hosts that are to be emptied; each keeps its place in max_hosts; several with ;",
            aliases=("draining_hosts", "leaving_hosts")),
        Column("rack_units", "whole",
            "rack units at the hub for the hosts of all its pools; if rows of one hub differ, the smallest counts",
            "U",
            aliases=("rack_space", "hub_rack_units"), least=0, most=100_000, example=40),
        Column("host_rack_units", "whole", "rack units that one host takes", "U", default="policy",
            aliases=("rack_units_per_host", "host_height"), least=1, most=1_000, example=2),
        Column("host_release", "release", "version of this pool's hosts", default="policy", example="8.4"),
        Column("cluster_cap", "whole", "most clusters on one host", "clusters", default="policy",
            aliases=("cap", "clusters_per_host"), least=1, most=1_000_000, example=64),
        Column("host_cost", "number",
            "what running one host costs, power and visits included; buying is in Prices", "money a year",
            default="policy",
            aliases=("cost_per_host",), least=0, example=1200),
        Column("lead_time_days", "whole", "days from the order of a host of this pool until it can be installed",
            "days", default="policy", aliases=("delivery_days", "lead_time"), least=0, most=3_650, example=42),
        Column("owner", "text", "who pays for the hosts there", aliases=("contact",), example="Central IT"),
        Column("uplink_mbps", "number", "uplink shared by all hosts at the hub", "Mb/s", aliases=("uplink",), least=0,
            least_excluded=True, example=1000),
        Column("serves_regions", "ids", "regions that the pool may serve; several with ;", default="all",
            aliases=("regions_served", "serves")),
        Column("host_release_today", "release",
            "version that the existing hosts run today, if the rollout is to upgrade them to host_release",
            default="host_release", aliases=("current_host_release", "release_today")),
        Column("upgraded_hosts", "ids",
            "names of hosts that are already upgraded from host_release_today to host_release; several with ;",
            aliases=("raised_hosts",)),
        Column("timezone", "timezone", "IANA time zone of the hub", default="policy", aliases=("time_zone", "tz"),
            example="Europe/London"),
        Column("window", "window", "when hosts may be installed, changed and retired, local time", default="policy",
            aliases=("maintenance_window", "change_window"), example="Sun 22:00-04:00"),
        *uptime("host", "a host of the pool"),
        *uptime("hub", "the hub itself"),
        *uptime("hub_uplink", "the hub's uplink"),
        Column("opens", "date", "first day on which hosts can run there; used by castingvote horizon",
            aliases=("opening_date", "open_date")),
        Column("closes", "date", "last day on which hosts can run there; used by castingvote horizon",
            aliases=("closing_date", "close_date")),
    ),
)
# fmt: on
