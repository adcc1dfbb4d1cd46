"""What a site's networks are, as people write them, and whether two of them are one."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

Block = ipaddress.IPv4Network | ipaddress.IPv6Network

# IEEE 802.1Q: 12 bits, of which 0 (no VLAN, priority only) and 4095 (reserved) name none.
FIRST_VLAN, LAST_VLAN = 1, 4094
_VLAN_WORD = re.compile(r"\bvlan(?:[\s-]*id)?[\s:#-]*(?=[0-9])", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Network:
    """VLAN ids and address blocks that one kind of traffic uses at a site."""

    vlans: frozenset[int]
    blocks: tuple[Block, ...]

    @property
    def kinds(self) -> frozenset[str]:
        """What it is stated as: ``VLAN``, ``IPv4``, ``IPv6``."""
        return frozenset({"VLAN"} if self.vlans else ()) | {f"IPv{block.version}" for block in self.blocks}


@lru_cache(maxsize=65536)
def parse_network(text: str) -> Network:
    """Return the network that ``text`` names: VLAN ids and CIDR blocks, several with a semicolon or a blank.

    A block may be written by an address in it (10.0.0.7/24) or with a netmask. Raises ValueError with what is wrong.

    >>> parse_network("VLAN 30; 10.0.30.0/24").kinds == {"VLAN", "IPv4"}
    True
    """
    vlans, blocks = set(), []
    for part in re.split(r"[;\s]+", _VLAN_WORD.sub("", text).strip("; \t\n")):
        if re.fullmatch(r"[0-9]+", part):
            if not FIRST_VLAN <= int(part) <= LAST_VLAN:
                raise ValueError(f"{part} is no VLAN id, which goes from {FIRST_VLAN} to {LAST_VLAN}")
            vlans.add(int(part))
        elif "/" not in part:
            raise ValueError(f'"{part}" is neither a VLAN id nor a CIDR block such as 10.0.30.0/24')
        else:
            try:
                blocks.append(ipaddress.ip_network(part, strict=False))
            except ValueError as error:
                raise ValueError(f'"{part}" is no CIDR block such as 10.0.30.0/24 or 2001:db8::/64') from error
    return Network(frozenset(vlans), tuple(blocks))


def shared(one: Network, other: Network) -> str:
    """Return in words what two networks have in common, ``""`` where nothing is seen."""
    if both := one.vlans & other.vlans:
        return f"VLAN {min(both)} is used for both"
    for block, another in product(one.blocks, other.blocks):
        if block.version == another.version and block.overlaps(another):
            return f"{block} is used for both" if block == another else f"{block} and {another} overlap"
    return ""


def comparable(one: Network, other: Network) -> bool:
    """Whether the two are stated in a kind that both have, so that "nothing in common" means something."""
    return bool(one.kinds & other.kinds)
