"""Units in headers and cells, such as ``RTT [s]``, ``Distance miles`` or ``0.018 s``, and factors between them.

Sources of the factors: the SI prefixes; 1 mile = 1.609344 km and 1 nautical mile = 1.852 km (BIPM, SI Brochure, and the
international yard and pound agreement of 1959); 1 byte = 8 bits (IEC 80000-13).
"""

import re
from dataclasses import dataclass
from typing import Literal

from planner.columns import Column

Dimension = Literal["time", "length", "rate", "share"]
Way = Literal["", "one way", "round trip"]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by its usual sign; ``size`` is what one of it is in ms, km, kb/s or percent."""

    sign: str
    dimension: Dimension
    size: float


def _units(dimension: Dimension, *entries: tuple[str, float, str]) -> dict[str, Unit]:
    return {name: Unit(sign, dimension, size) for sign, size, names in entries for name in (sign, *names.split())}


_RATES = [
    (f"{prefix}{bit}/s", size * bits, " ".join(name.format(prefix) for name in names))
    for prefix, size in (("k", 1.0), ("M", 1e3), ("G", 1e6))
    for bit, bits, names in (
        ("b", 1.0, ("{0}bps", "{0}bit/s", "{0}bit", "{0}bits/s", "{0}bits", "{0}bits/sec", "{0}b")),
        ("B", 8.0, ("{0}Bps", "{0}Byte/s", "{0}Bytes/s", "{0}byte/s", "{0}bytes/s", "{0}iB/s")),
    )
]
_BY_NAME = {
    **_units(
        "time",
        ("ms", 1.0, "msec msecs millisecond milliseconds millis millisekunden millisecondes milisegundos"),
        ("s", 1e3, "sec secs second seconds sekunden secondes segundos secondi"),
        ("µs", 1e-3, "μs us usec usecs microsecond microseconds"),
    ),
    **_units(
        "length",
        ("km", 1.0, "kms kilometer kilometers kilometre kilometres kilomètres kilómetros"),
        ("mi", 1.609344, "mile miles"),
        ("nmi", 1.852, "nautical_miles"),
        ("metres", 1e-3, "meters metre meter"),
    ),
    **_units("rate", *_RATES),
    **_units(
        "share",
        ("%", 1.0, "percent per_cent pct prozent pourcent procent"),
        ("fraction", 100.0, "ratio 0-1 0..1"),
    ),
}
# Letter case tells bits from bytes, and nothing else.
_FOLDED = {name.casefold(): unit for name, unit in reversed(_BY_NAME.items()) if "B" not in name}
_OF_COLUMN = {"ms": "ms", "km": "km", "%": "%", "Gb/s": "Gb/s", "Mb/s": "Mb/s", "kb/s": "kb/s"}
_WAYS: dict[str, Way] = {
    **dict.fromkeys(("one_way", "oneway", "ow", "one_direction", "single_trip", "einfach"), "one way"),
    **dict.fromkeys(("round_trip", "roundtrip", "rtt", "rt", "both_ways", "two_way", "there_and_back"), "round trip"),
}
_BYTES = re.compile(r"[kMG]i?B(?![a-zA-Z]*(?:its?|PS)\b)|[kKMG]bytes?", re.ASCII)


def unit_named(text: str) -> Unit | None:
    """Return the unit that a text names, or None.

    >>> unit_named("msec").sign, unit_named("MB/s").size, unit_named("MBPS").size, unit_named("cm")
    ('ms', 8000.0, 1000.0, None)
    """
    text = text.strip().strip(".")
    return _BY_NAME.get(text) or (None if _BYTES.match(text) else _FOLDED.get(text.casefold()))


def way_named(text: str) -> Way:
    """Return whether a text says one way or round trip; empty when it says neither."""
    return _WAYS.get(re.sub(r"[\W_]+", "_", text.casefold()).strip("_"), "")


def unit_of(spec: Column) -> Unit | None:
    """Return the unit in which a column's values are wanted; None where it has none that can be converted."""
    return _BY_NAME.get(_OF_COLUMN.get(spec.unit.split(",")[0], "-"))


def way_of(spec: Column) -> Way:
    """Return whether a column wants a one-way or a round-trip time; empty for anything but a time."""
    unit = unit_of(spec)
    if unit is None or unit.dimension != "time":
        return ""
    return "one way" if "one way" in spec.unit else "round trip"


@dataclass(frozen=True, slots=True)
class Stated:
    """What a header or a cell says of its values: a unit, a direction, or neither."""

    unit: Unit | None = None
    way: Way = ""

    def fits(self, spec: Column) -> bool:
        """Return whether ``spec`` can be stated so."""
        wanted = unit_of(spec)
        unit_fits = self.unit is None or (wanted is not None and wanted.dimension == self.unit.dimension)
        return unit_fits and (not self.way or bool(way_of(spec)))

    def factor(self, spec: Column) -> float:
        """Return what a value has to be multiplied by to be in the unit, and the direction, of ``spec``."""
        wanted = unit_of(spec)
        size = self.unit.size / wanted.size if self.unit is not None and wanted is not None else 1.0
        if not self.way or self.way == way_of(spec):
            return size
        return size * 2.0 if self.way == "one way" else size / 2.0

    def __str__(self) -> str:
        return " ".join(part for part in (self.unit.sign if self.unit else "", self.way) if part)


NOTHING_STATED = Stated()
