"""What headers of each column say, as patterns of concepts, and what must not stand beside them."""

from collections.abc import Mapping
from dataclasses import dataclass

from planner.intake.likeness import Pattern


@dataclass(frozen=True, slots=True)
class Wanted:
    """A column that is looked for: its name, the patterns of its headers, and concepts that speak against it.

    ``matters`` tells whether a doubt about it is worth a question: it can change the plan.
    """

    name: str
    patterns: tuple[Pattern, ...]
    against: tuple[str, ...] = ()
    matters: bool = False


def _w(name: str, *patterns: Pattern, against: tuple[str, ...] = (), matters: bool = False) -> Wanted:
    return Wanted(name, patterns, against, matters)


# The hub and the host of today are columns of the sheet Current, though most exports have them beside the site.
TODAY_HUB, TODAY_HOST, STATUS = "today.hub", "today.host", "status"

_PLACE = (
    _w("latitude", (0.95, ("LAT",)), against=("KM",)),
    _w("longitude", (0.95, ("LON",)), against=("KM",)),
    _w("zone", (0.95, ("ZONE",)), (0.9, ("ZONE", "REGION"))),
)
_TIME = (
    _w("timezone", (0.95, ("TIMEZONE",))),
    _w("window", (0.9, ("WINDOW",)), against=("COST",)),
    _w("opens", (0.85, ("OPEN",)), (0.95, ("OPEN", "DATE"))),
    _w("closes", (0.85, ("CLOSE",)), (0.95, ("CLOSE", "DATE"))),
)

SITES = (
    _w("site", (0.97, ("SITE", "ID")), (0.85, ("SITE",)), (0.7, ("ID",)), against=("HUB", "NAME", "COUNT", "HOST")),
    _w("name", (0.97, ("SITE", "NAME")), (0.9, ("NAME",)), (0.6, ("SITE",)), against=("ID", "HUB", "OWNER", "HOST")),
    _w("region", (0.92, ("REGION",)), (0.95, ("REGION", "NAME"))),
    _w("owner", (0.9, ("OWNER",)), (0.92, ("OWNER", "NAME"))),
    *_PLACE,
    _w(
        "clusters",
        (0.97, ("CLUSTER", "COUNT")),
        (0.92, ("CLUSTER",)),
        against=("RELEASE", "NAME", "STATUS", "HOST"),
        matters=True,
    ),
    _w(
        "release",
        (0.95, ("RELEASE",)),
        (0.97, ("RELEASE", "CLUSTER")),
        (0.97, ("RELEASE", "CURRENT")),
        against=("TARGET", "HOST", "FLOOR"),
        matters=True,
    ),
    _w("target_release", (0.97, ("TARGET", "RELEASE"))),
    _w(
        "latency_budget_ms",
        (0.97, ("LIMIT", "RTT")),
        (0.7, ("LIMIT",)),
        against=("HOST", "CLUSTER", "UPLINK"),
        matters=True,
    ),
    _w("weight", (0.9, ("WEIGHT",))),
    _w("pinned_hub", (0.95, ("PIN", "HUB")), (0.8, ("PIN",)), matters=True),
    _w("barred_hubs", (0.95, ("BAR", "HUB")), matters=True),
    _w("own_tie_breaker", (0.95, ("OWN", "TB")), matters=True),
    _w("nodes", (0.92, ("NODE",)), (0.95, ("NODE", "COUNT")), against=("LINK", "CLUSTER"), matters=True),
    _w("node_link", (0.9, ("NODE", "LINK")), against=("SPEED",)),
    _w("node_link_gbps", (0.92, ("NODE", "LINK", "SPEED")), (0.8, ("LINK", "SPEED"))),
    _w("uplink_mbps", (0.9, ("UPLINK",)), (0.92, ("UPLINK", "SPEED")), against=("ZONE", "COST", "RTT")),
    _w("tie_breaker_net", (0.92, ("TB", "NET"))),
    _w("storage_net", (0.92, ("STORAGE", "NET"))),
    _w("management_net", (0.92, ("MGMT", "NET"))),
    _w("crew", (0.9, ("CREW",))),
    *_TIME,
    _w(
        TODAY_HUB,
        (0.97, ("CURRENT", "HUB")),
        (0.8, ("HUB",)),
        (0.72, ("CURRENT", "TB")),
        (0.7, ("CURRENT",)),
        against=("PIN", "BAR", "RTT", "TARGET"),
        matters=True,
    ),
    _w(
        TODAY_HOST,
        (0.97, ("CURRENT", "HOST")),
        (0.85, ("HOST", "NAME")),
        (0.8, ("HOST",)),
        against=("RELEASE", "COUNT", "MAX", "OWN"),
    ),
    _w(STATUS, (0.92, ("STATUS",)), (0.93, ("STATUS", "SITE")), against=("RELEASE",)),
)

HUBS = (
    _w(
        "hub",
        (0.97, ("HUB", "ID")),
        (0.9, ("ID",)),
        (0.85, ("HUB",)),
        (0.85, ("SITE", "ID")),
        (0.7, ("SITE",)),
        against=("NAME", "COUNT", "HOST"),
    ),
    _w("name", (0.97, ("HUB", "NAME")), (0.92, ("NAME",)), (0.65, ("SITE",)), (0.6, ("HUB",)), against=("ID",)),
    _w("region", (0.92, ("REGION",)), against=("SERVES",)),
    *_PLACE,
    _w(
        "max_hosts",
        (0.97, ("MAX", "HOST")),
        (0.75, ("MAX",)),
        (0.75, ("CAPWORD",)),
        against=("CLUSTER", "EXISTING", "UPLINK", "RELEASE"),
        matters=True,
    ),
    _w(
        "existing_hosts",
        (0.97, ("EXISTING", "HOST")),
        (0.8, ("HOST", "COUNT")),
        (0.7, ("HOST",)),
        (0.7, ("EXISTING",)),
        against=("MAX", "RELEASE", "CLUSTER", "COST", "NAME", "STATUS", "UPLINK", "CAP"),
        matters=True,
    ),
    _w("host_release", (0.95, ("RELEASE",)), (0.97, ("RELEASE", "HOST")), matters=True),
    _w(
        "cluster_cap",
        (0.97, ("CLUSTER", "HOST")),
        (0.95, ("CAP", "CLUSTER")),
        (0.8, ("CAPWORD",)),
        (0.8, ("CLUSTER", "MAX")),
        (0.7, ("CLUSTER",)),
        against=("COST",),
        matters=True,
    ),
    _w("host_cost", (0.95, ("COST", "HOST")), (0.8, ("COST",)), against=("UPLINK",)),
    _w("uplink_mbps", (0.9, ("UPLINK",)), (0.92, ("UPLINK", "SPEED")), against=("ZONE", "COST")),
    _w("serves_regions", (0.95, ("SERVES", "REGION")), (0.8, ("SERVES",)), against=("CLUSTER", "HOST")),
    *_TIME,
    _w(STATUS, (0.92, ("STATUS",)), against=("RELEASE",)),
)

PAIRS = (
    _w(
        "rtt_ms",
        (0.95, ("RTT",)),
        (0.95, ("RTT", "AVG")),
        (0.93, ("RTT", "PCTL")),
        (0.6, ("AVG",)),
        (0.6, ("PCTL",)),
        against=("LIMIT", "SPREAD", "LOSS", "DATE", "COST"),
        matters=True,
    ),
    _w("measured_at", (0.9, ("DATE",)), (0.95, ("DATE", "TIME"))),
    _w("loss_percent", (0.95, ("LOSS",)), (0.97, ("LOSS", "PERCENT"))),
    _w("pair_cost", (0.9, ("COST",))),
)

CURRENT = (_w("host", (0.95, ("HOST",)), (0.97, ("HOST", "CURRENT")), (0.96, ("HOST", "NAME"))),)

SETTINGS: Mapping[str, tuple[tuple[Pattern, ...], tuple[str, ...]]] = {
    "cluster_cap": (
        ((0.97, ("CLUSTER", "HOST")), (0.9, ("CLUSTER", "MAX")), (0.9, ("CLUSTER", "CAP")), (0.75, ("CAPWORD",))),
        ("RESERVE", "AGE", "RELEASE", "EXISTING"),
    ),
    "release_floor": (((0.95, ("RELEASE", "FLOOR")),), ("MGMT",)),
    "management_floor": (((0.97, ("RELEASE", "FLOOR", "MGMT")),), ()),
    "latency_budget_ms": (((0.95, ("RTT", "LIMIT")), (0.7, ("RTT",))), ("AGE", "LOSS")),
    "reserve_percent": (((0.95, ("RESERVE",)), (0.97, ("RESERVE", "PERCENT"))), ()),
    "cover": (
        ((0.9, ("COVER",)), (0.92, ("COVER", "HOST")), (0.92, ("COVER", "HUB"))),
        ("RESERVE", "PERCENT", "LIMIT"),
    ),
    "max_loss_percent": (((0.95, ("LOSS", "LIMIT")), (0.9, ("LOSS", "PERCENT"))), ()),
    "max_hosts_per_hub": (((0.95, ("MAX", "HOST", "HUB")),), ("CLUSTER",)),
    "split_sites": (((0.9, ("SPLIT",)), (0.92, ("SPLIT", "SITE"))), ()),
    "third_location_km": (((0.85, ("KM", "FLOOR")), (0.85, ("KM", "LIMIT"))), ()),
    "max_age_days": (((0.9, ("AGE", "LIMIT")), (0.85, ("AGE",))), ()),
    "host_cost": (((0.92, ("COST", "HOST")),), ()),
    "host_release": (((0.9, ("RELEASE", "HOST")),), ("FLOOR", "TARGET", "CLUSTER", "SITE")),
    "percentile": (((0.9, ("PCTL",)),), ()),
    "uplink_share_percent": (((0.9, ("UPLINK", "PERCENT")),), ()),
}
