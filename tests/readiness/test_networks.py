"""Networks as people write them, and whether two are one: against sets of addresses, which share no code with it."""

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.readiness.networks import comparable, parse_network, shared

BLOCKS = st.builds(
    lambda base, length: f"{ipaddress.ip_address(base)}/{length}", st.integers(0, 2**10), st.integers(22, 32)
)
VLANS = st.integers(1, 4094).map(str)
TEXTS = st.lists(st.one_of(BLOCKS, VLANS), min_size=1, max_size=4).map("; ".join)


@pytest.mark.parametrize(
    ("text", "vlans", "blocks"),
    [
        ("30", {30}, []),
        ("1", {1}, []),
        ("4094", {4094}, []),
        ("VLAN 30", {30}, []),
        ("vlan30; vlan-id: 31", {30, 31}, []),
        ("10 20", {10, 20}, []),
        ("10.1.30.0/24", set(), ["10.1.30.0/24"]),
        ("10.1.30.9/24", set(), ["10.1.30.0/24"]),
        ("10.1.30.0/255.255.255.0", set(), ["10.1.30.0/24"]),
        ("2001:DB8::7/64", set(), ["2001:db8::/64"]),
        ("VLAN 30\n10.1.30.0/24", {30}, ["10.1.30.0/24"]),
        ("0.0.0.0/0", set(), ["0.0.0.0/0"]),
    ],
)
def test_what_is_understood(text, vlans, blocks):
    network = parse_network(text)
    assert network.vlans == vlans
    assert [str(block) for block in network.blocks] == blocks


@pytest.mark.parametrize("text", ["", ";", "0", "4095", "30.0", "3000 0", "10.1.30.0", "10.1.30.0/33", "::/129", "a/b"])
def test_what_is_refused(text):
    with pytest.raises(ValueError, match=r"VLAN id|CIDR block"):
        parse_network(text)


def addresses(text):
    """The VLAN ids and the single addresses of a text, written out."""
    members = set()
    for part in text.split("; "):
        if "/" in part:
            address, length = part.split("/")
            size = 2 ** (32 - int(length))
            first = int(ipaddress.ip_address(address)) // size * size
            members.update(("address", first + step) for step in range(size))
        else:
            members.add(("VLAN", int(part)))
    return members


@given(TEXTS, TEXTS)
def test_two_networks_share_what_their_members_share(one, other):
    both = addresses(one) & addresses(other)
    assert bool(shared(parse_network(one), parse_network(other))) == bool(both)


@given(TEXTS, TEXTS)
def test_the_answer_is_the_same_both_ways(one, other):
    first, second = parse_network(one), parse_network(other)
    assert bool(shared(first, second)) == bool(shared(second, first))
    assert comparable(first, second) == comparable(second, first)
    if shared(first, second):
        assert comparable(first, second)


@given(TEXTS)
def test_a_network_shares_itself(text):
    assert shared(parse_network(text), parse_network(text))


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused(text):
    try:
        network = parse_network(text)
    except ValueError:
        return
    assert network.vlans or network.blocks
