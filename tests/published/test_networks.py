"""Networks against what the standards say: VLAN ids (IEEE 802.1Q), address blocks (RFC 4632), documentation blocks."""

import itertools

import pytest

from planner.readiness.networks import parse_network, shared


@pytest.mark.parametrize("number", [0, 4095])
def test_the_reserved_vlan_ids_name_no_vlan(number):
    """IEEE 802.1Q, reserved VID values: 0 is the priority tag, FFF is reserved. From memory."""
    with pytest.raises(ValueError, match="1 to 4094"):
        parse_network(str(number))


def test_every_other_value_of_twelve_bits_is_a_vlan_id():
    """IEEE 802.1Q: the VID has 12 bits. From memory."""
    assert {vlan for number in range(1, 2**12 - 1) for vlan in parse_network(str(number)).vlans} == set(range(1, 4095))


@pytest.mark.parametrize(("length", "addresses"), [(24, 256), (20, 4096), (16, 65536), (13, 524288), (8, 16777216)])
def test_sizes_of_blocks(length, addresses):
    """RFC 4632, section 3.1, table of prefixes and their numbers of addresses. From memory."""
    (block,) = parse_network(f"10.0.0.0/{length}").blocks
    assert block.num_addresses == addresses


# RFC 4632, section 5, example of a provider with 10.24.0.0/13 and its clients. From memory.
PROVIDER = "10.24.0.0/13"
CLIENTS = ("10.24.0.0/21", "10.24.16.0/20", "10.24.8.0/22", "10.24.34.0/23", "10.24.32.0/23")


def test_clients_lie_in_their_provider_and_apart_from_each_other():
    for client in CLIENTS:
        assert shared(parse_network(client), parse_network(PROVIDER)) == f"{client} and {PROVIDER} overlap"
    for one, other in itertools.combinations(CLIENTS, 2):
        assert shared(parse_network(one), parse_network(other)) == ""


def test_the_longer_prefix_lies_in_the_shorter_one():
    """RFC 4632, section 5.1: the route with the longest match wins, so blocks may nest; from memory."""
    assert shared(parse_network("10.24.12.0/22"), parse_network("10.24.8.0/21")).endswith("overlap")


def test_blocks_for_documentation_are_apart():
    """RFC 5737 (IPv4) and RFC 3849 (IPv6)."""
    blocks = ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24", "2001:db8::/32")
    for one, other in itertools.combinations(blocks, 2):
        assert shared(parse_network(one), parse_network(other)) == ""
