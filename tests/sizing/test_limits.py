"""What limits on hosts, hubs and zones do to a plan: reasons, later aims, proofs, and the packing by weight."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.rules import Checker
from planner.sizing import best_plan, plan
from planner.sizing.draft_plan import draft_plan
from planner.sizing.instance.load_limits import nested
from planner.sizing.instance.problem import build_problem
from planner.sizing.packing.items import Item
from planner.sizing.packing.seat_sites import fill
from planner.sizing.packing.two_dimensions import pack_weighed
from planner.sizing.relaxed_limits import plan_within_limits
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.transportation import Cost, Transport, least_cost_flow
from planner.verify import verify_proof
from tests.how_many import tries
from tests.sizing.test_limits_brute_force import fewest_bins

ALIKE = {"clusters": [1] * 6, "weight": [1.0] * 6}


def test_a_limit_on_a_hub_sends_the_rest_elsewhere_and_the_nearest_stay(make):
    rtt = [[5.0 + s, 20.0] for s in range(6)]
    fleet = make.fleet(rtt, sites=ALIKE, cluster_cap=6, max_blast_radius_hub=4)
    result = plan(fleet)
    make.sound(fleet, result)
    assert [a.hub for a in result.assignments] == ["H0"] * 4 + ["H1"] * 2
    assert (result.hosts, result.lower_bound, result.status) == (2, 2, "optimal")


def test_the_proof_does_not_claim_that_sets_force_what_a_limit_does(make):
    """One host would do, but a hub may carry 4 of 6 clusters: the solver says so, and the sets force 1."""
    fleet = make.fleet([[5.0, 20.0]] * 6, sites=ALIKE, cluster_cap=6, max_blast_radius_hub=4)
    result = plan(fleet)
    assert result.proof.kind == "solver"
    assert "limits on hubs, zones, weight or rack units" in result.proof.words
    assert verify_proof(fleet, result).verdict == "bound"


def test_a_limit_that_does_not_bind_changes_neither_plan_nor_proof(make):
    rtt = [[5.0 + 4 * s, 25.0 - 4 * s] for s in range(6)]
    plain = plan(make.fleet(rtt, sites=ALIKE, cluster_cap=3))
    fleet = make.fleet(rtt, sites=ALIKE, cluster_cap=3, max_blast_radius_hub=4, max_share_percent_zone=60)
    result = plan(fleet)
    assert result.assignments == plain.assignments
    assert result.proof.kind == plain.proof.kind == "counting"
    assert verify_proof(fleet, result).verdict == "proof"


def test_a_share_of_equal_sites_is_a_smaller_cap_and_proven_by_counting(make):
    """34 % of 6 equal sites are 2 of them."""
    fleet = make.fleet([[5.0]] * 6, sites=ALIKE, cluster_cap=6, max_share_percent=34)
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.hosts, result.proof.kind, {h.usable for h in result.host_list}) == (3, "counting", {2})


def test_the_whole_counts_sites_that_are_not_served_and_not_those_with_their_own_tie_breaker(make):
    """The whole is 1 + 1, and 2 of the site out of reach; the 96 of the site with its own tie-breaker do not count."""
    sites = {"clusters": [1] * 4, "weight": [1.0, 1.0, 2.0, 96.0], "own_tie_breaker": ["no"] * 3 + ["yes"]}
    fleet = make.fleet([[5.0], [5.0], [99.0], [5.0]], sites=sites, max_share_percent=25)
    result = plan(fleet)
    make.sound(fleet, result)
    assert result.hosts == 2
    result = plan(fleet.replace(policy=fleet.policy.replace(max_share_percent=50)))
    assert result.hosts == 1


def test_a_site_that_breaks_a_limit_alone_is_unserved_and_the_rule_is_named(make):
    sites = {"clusters": [5, 1, 1], "weight": [1.0, 8.0, 1.0]}
    policy = {"max_blast_radius_zone": 4, "max_share_percent_hub": 75}
    fleet = make.fleet([[5.0]] * 3, sites=sites, **policy)
    result = plan(fleet)
    make.sound(fleet, result)
    told = {u.site: u.reasons[0] for u in result.unserved}
    assert {site: reason.code for site, reason in told.items()} == {"S00": "blast_radius", "S01": "blast_radius"}
    assert "the site has 5 clusters, above max_blast_radius_zone, 4" in told["S00"].detail
    assert "80.0 % of the fleet's weight, above max_share_percent_hub, 75 %" in told["S01"].detail


@pytest.mark.parametrize(
    ("policy", "named"),
    [
        ({"max_blast_radius_hub": 2}, "max_blast_radius_hub at hub H0"),
        ({"max_blast_radius_zone": 2}, "max_blast_radius_zone at hub H0"),
        ({"max_share_percent_hub": 80}, "max_share_percent_hub at hub H0"),
        ({"max_share_percent_zone": 80}, "max_share_percent_zone at hub H0"),
        ({"max_share_percent": 80, "max_hosts_per_hub": 1}, "max_share_percent"),
    ],
)
def test_the_lightest_site_is_left_out_for_a_limit_and_told_which(make, policy, named):
    fleet = make.fleet([[5.0]] * 3, sites={"weight": [2.0, 1.0, 2.0]}, **policy)
    result = plan(fleet)
    make.sound(fleet, result)
    (left,) = result.unserved
    assert (left.site, left.reasons[0].code) == ("S01", "capacity")
    assert left.reasons[0].detail.endswith(f"with this site they would exceed {named}")
    assert left.remedy.startswith(f"Raise {named},")


def test_a_zone_takes_all_pools_of_a_hub_that_names_it_in_one_row(make):
    """Hub H0 has a pool in the zone and one outside; both count, and so does H1."""
    fleet = make.fleet([[5.0, 5.0, 20.0]] * 6, sites=ALIKE, hubs=["H0", "H1", "H2"], max_blast_radius_zone=4)
    table = {"hub": ["H0", "H0", "H1", "H2"], "pool": ["A", "B", "C", "D"], "zone": [("z",), (), ("z",), ()]}
    fleet = fleet.replace(pools=make.pools({**table, "cluster_cap": [6] * 4}))
    result = plan(fleet)
    make.sound(fleet, result)
    assert sum(a.hub != "H2" for a in result.assignments) == 4


def test_later_aims_hold_among_plans_within_limits_of_weight(make):
    """Three of 4 equally heavy sites fit hub H0: those that are nearer to it than to H1 by most, but today's stay."""
    rtt = [[5.0, 6.0], [5.0, 30.0], [5.0, 20.0], [5.0, 25.0]]
    sites = {"clusters": [1, 2, 1, 2], "weight": [3.0] * 4}
    fleet = make.fleet(rtt, sites=sites, max_share_percent_hub=75)
    assert [a.hub for a in plan(fleet).assignments] == ["H1", "H0", "H0", "H0"]
    today = {"site": ["S00"], "hub": ["H0"], "host": ["H0-01"]}
    incumbent = make.fleet(rtt, sites=sites, max_share_percent_hub=75, current=today)
    result = plan(incumbent)
    make.sound(incumbent, result)
    assert [a.hub for a in result.assignments] == ["H0", "H0", "H1", "H0"]


def test_hosts_are_packed_by_weight_too_and_who_can_stay_stays():
    """Weights 6, 5, 5, 4, 3, 1 on two hosts of 12: only 6 + 5 + 1 and 5 + 4 + 3 fit, which no greedy order finds."""
    weights = [6.0, 5.0, 5.0, 4.0, 3.0, 1.0]
    items = [Item(f"S{i}", 1, True, float(i), "h2" if i == 0 else "", w) for i, w in enumerate(weights)]
    seats = fill(items, ["h1", "h2"], 6, SolveBudget(), 12.0)
    carried = {host: sum(weights[g] for g, at, _ in seats if at == host) for host in ("h1", "h2")}
    assert carried == {"h1": 12.0, "h2": 12.0}
    assert (0, "h2", 1) in seats


def test_parts_of_a_split_site_bring_their_share_of_its_weight():
    items = [Item("A", 4, False, 1.0, "", 8.0), Item("B", 2, False, 2.0, "", 2.0)]
    seats = fill(items, ["h1", "h2"], 6, SolveBudget(), 5.0)
    assert sum(clusters for _, _, clusters in seats) == 6
    for host in ("h1", "h2"):
        assert sum(items[g].weight * n / items[g].clusters for g, at, n in seats if at == host) == 5.0


ITEMS = st.lists(st.tuples(st.integers(1, 5), st.integers(1, 9).map(float)), min_size=1, max_size=7)


def test_packing_by_clusters_and_weight_finds_a_packing_exactly_where_there_is_one(examples):
    @settings(max_examples=4 * examples, deadline=None)
    @given(ITEMS, st.integers(1, 4), st.integers(3, 8), st.integers(6, 14))
    def check(items, hosts, cap, most):
        kinds = {kind: items.count(kind) for kind in items}
        found = pack_weighed(kinds, hosts, cap, float(most), SolveBudget())
        assert (found is not None) == (fewest_bins(tuple(sorted(items)), cap, most) <= hosts)
        for filling in found or ():
            assert sum(n * k for (k, _), n in filling.items()) <= cap
            assert sum(n * w for (_, w), n in filling.items()) <= most
        if found is not None:
            assert {kind: sum(filling.get(kind, 0) for filling in found) for kind in kinds} == kinds

    check()


def test_overlapping_zones_are_no_flow(make):
    """Zones x (H0, H1) and y (H1, H2) overlap; x alone, or x and its hubs, are nested."""
    zones = [("x",), ("x", "y"), ("y",)]
    fleet = make.fleet([[5.0] * 3] * 6, sites=ALIKE, pools={"zone": zones}, max_blast_radius_zone=3)
    assert not build_problem(fleet, Checker(fleet)).flows
    result = plan(fleet)
    make.sound(fleet, result)
    fleet = fleet.replace(pools=fleet.pools.assign(zone=[("x",), ("x",), ()]))
    problem = build_problem(fleet, Checker(fleet))
    assert problem.flows
    assert len(problem.limits) == 4
    assert nested(problem.limits)


def test_tight_limits_on_hubs_are_proven_by_the_search_at_once(make):
    """120 sites, 10 hubs of hosts of 8: a hub may carry 12, so its first host brings 8 and its second 4: 20 hosts."""
    rng = np.random.default_rng(3)
    rtt = rng.uniform(5.0, 50.0, (120, 10))
    fleet = make.fleet(rtt, cluster_cap=8, max_blast_radius_hub=12)
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.hosts, result.lower_bound, result.status) == (20, 20, "optimal")
    assert {h: sum(a.clusters for a in result.assignments if a.hub == h) for h in fleet.hub_ids} == dict.fromkeys(
        fleet.hub_ids, 12
    )


@given(st.data())
@settings(max_examples=tries(25), deadline=None)
def test_a_flow_within_nested_limits_costs_what_trying_every_way_costs(data):
    sites, pools = data.draw(st.integers(1, 5)), 4
    cost = np.array(data.draw(st.lists(st.integers(0, 9), min_size=sites * pools, max_size=sites * pools)))
    cost = cost.reshape(sites, pools).astype(float)
    room = np.array(data.draw(st.lists(st.integers(0, 3), min_size=pools, max_size=pools)))
    inner, outer = data.draw(st.integers(0, 3)), data.draw(st.integers(0, 4))
    limits = ((np.array([True, True, False, False]), inner), (np.array([True, True, True, False]), outer))
    tail, head = np.divmod(np.arange(sites * pools), pools)
    transport = Transport(tail, head, np.ones(sites, dtype=np.int64), room, limits=limits)
    flow = least_cost_flow(transport, [Cost(cost.ravel(), 1.0)])
    totals = []
    for choice in itertools.product(range(pools), repeat=sites):
        load = np.bincount(choice, minlength=pools)
        if (load <= room).all() and load[:2].sum() <= inner and load[:3].sum() <= outer:
            totals.append(sum(cost[s, p] for s, p in enumerate(choice)))
    assert (flow is None) == (not totals)
    if flow is not None:
        assert flow @ cost.ravel() == min(totals)


def test_prices_that_add_up_along_a_chain_are_borne_by_coarser_steps():
    """Each source moves on to the next sink, so that potentials grow with the chain, whatever a single cost is."""
    sources = 90
    tail = np.repeat(np.arange(sources), 2)
    head, room = tail + np.tile([0, 1], sources), np.ones(sources + 1, dtype=np.int64)
    room[0] = 0
    dear = np.where(np.tile([True, False], sources), 0.0, 84.0)
    transport = Transport(tail=tail, head=head, supply=np.ones(sources, dtype=np.int64), room=room)
    flow = least_cost_flow(transport, [Cost(dear, 1e-7), Cost(dear[::-1] / 3, 1e-5), Cost(dear / 84, 1e-2)])
    assert flow.tolist() == [0, 1] * sources


def test_bound_of_the_plan_without_limits_holds_within_them_under_cover_too(make, monkeypatch):
    """At 600 sites with at most 150 clusters at a hub the bound was 38, where 58 was known."""
    bounds = []

    def without_bound(*given, **how):
        draft, attained = draft_plan(*given, **how)
        bounds.append(draft.sized.bound)
        if len(bounds) == 2:
            draft = dataclasses.replace(draft, sized=dataclasses.replace(draft.sized, bound=0.0))
        return draft, attained

    def bounded(*given):
        draft, attained = plan_within_limits(*given)
        bounds.append(draft.sized.bound)
        return draft, attained

    monkeypatch.setattr(best_plan, "draft_plan", without_bound)
    monkeypatch.setattr(best_plan, "plan_within_limits", bounded)
    rtt = [[5.0, 9.0, 9.0], [5.0, 9.0, 9.0], [5.0, 9.0, 9.0], [5.0, 9.0, 9.0]]
    plan(make.fleet(rtt, cover="hub", max_blast_radius_hub=2, then="latency"))
    assert bounds == [2.0, 2.0, 2.0]
