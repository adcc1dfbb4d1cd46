"""Columns that several sheets share."""

from __future__ import annotations

from planner.columns.kinds import Column

# fmt: off
LATITUDE = Column(
    "latitude",
    "number",
    "north is positive; for distances and the map",
    "degrees, WGS 84",
    aliases=("lat",),
    least=-90,
    most=90,
    example=54.9,
)
LONGITUDE = Column(
    "longitude",
    "number",
    "east is positive; for distances and the map",
    "degrees, WGS 84",
    aliases=("lon", "lng", "long"),
    least=-180,
    most=180,
    example=-1.6,
)
ZONE = Column(
    "zone",
    "ids",
    "failure zones it lies in: a building, a power feed, a WAN provider; several with ;",
    aliases=("zones", "failure_zone", "failure_zones", "fault_domain"),
    example="power-north",
)


def uptime(part: str, words: str, default: str | None = "policy") -> tuple[Column, ...]:
    """Return the three columns, or settings, that say how often a part is down; percent or hours will do."""
    return (
        Column(f"{part}_availability_percent", "number",
            f"percent of time that {words} is up; 100 means that it never fails", "%",
            default=default, least=0, most=100),
        Column(f"{part}_mtbf_hours", "number",
            f"instead of percent: mean time from a repair of {words} to the next failure", "hours",
            default=default, least=0, least_excluded=True),
        Column(f"{part}_mttr_hours", "number", f"mean time to repair of {words}", "hours", default=default, least=0),
    )
# fmt: on
