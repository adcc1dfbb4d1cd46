"""The count alone: that of a plan, for every objective and limit, and for changed policies."""

import numpy as np
import pytest

from planner.intake import read_fleet
from planner.sizing import plan
from planner.sizing.count_hosts import count
from planner.sizing.host_counts import fewest_hosts
from tests.arrays import fleet_of

POLICIES = (
    {},
    {"objective": "new_hosts"},
    {"objective": "cost"},
    {"cover": "hub"},
    {"max_blast_radius_hub": 12},
    {"max_share_percent": 20.0},
    {"split_sites": True},
)


def random_fleet(seed, **policy):
    rng = np.random.default_rng(seed)
    sites, pools = 14, 5
    return fleet_of(
        rng.uniform(5, 80, (sites, pools)),
        sites={"clusters": rng.choice([1, 1, 2, 3], sites).astype(float)},
        pools={
            "cluster_cap": rng.choice([4.0, 6.0], pools),
            "max_hosts": rng.integers(1, 4, pools).astype(float),
            "host_cost": rng.integers(1, 9, pools).astype(float),
            "existing_hosts": rng.integers(0, 2, pools).astype(float),
        },
        **policy,
    )


def figures(made):
    return (
        made.objective_value,
        made.lower_bound,
        len(made.unserved),
        len(made.uncovered),
        made.proves(made.objective),
    )


@pytest.mark.parametrize("policy", POLICIES, ids=lambda policy: " ".join(policy) or "plain")
@pytest.mark.parametrize("seed", range(3))
def test_the_count_is_that_of_the_plan(seed, policy):
    fleet = random_fleet(seed, **policy)
    made, found = plan(fleet), count(fleet)
    assert (found.objective_value, found.lower_bound, found.unserved, found.uncovered, found.proven) == pytest.approx(
        figures(made)
    )
    if made.objective == "hosts":
        assert found.hosts == made.hosts


def crowded_fleet(seed, **policy):
    """Forty sites of different weights that reach one to three of twelve hubs each, some hubs with too little room."""
    rng = np.random.default_rng(seed)
    sites, pools = 40, 12
    reached = np.argsort(rng.random((sites, pools)), axis=1) < rng.integers(1, 4, (sites, 1))
    crowd = rng.random(sites) < 0.5
    reached[crowd, 3:] = False
    reached[crowd, 0] = True
    return fleet_of(
        np.where(reached, 10.0, 90.0),
        sites={"weight": rng.integers(1, 4, sites).astype(float)},
        pools={
            "cluster_cap": rng.integers(2, 6, pools).astype(float),
            "max_hosts": rng.integers(1, 4, pools).astype(float),
            "host_cost": rng.integers(1, 9, pools).astype(float),
            "existing_hosts": rng.integers(0, 2, pools).astype(float),
        },
        **policy,
    )


@pytest.mark.parametrize("objective", ["hosts", "new_hosts", "cost"])
def test_where_room_is_short_the_count_is_that_of_the_plan_and_asks_no_flow_model(objective, examples, monkeypatch):
    crowded = [crowded_fleet(seed, objective=objective) for seed in range(2 * examples)]
    made = [plan(fleet) for fleet in crowded]
    monkeypatch.setattr(fewest_hosts, "FlowModel", lambda *_arguments, **_named: pytest.fail("asked the flow model"))
    found = [count(fleet) for fleet in crowded]
    for one, of_plan in zip(found, made, strict=True):
        assert (one.objective_value, one.lower_bound, one.unserved, one.uncovered, one.proven) == pytest.approx(
            figures(of_plan)
        )
    short = [one for one in made if one.unserved]
    assert len(short) >= len(made) / 2
    assert any(one.hosts < fleet.max_hosts.sum() for one, fleet in zip(made, crowded, strict=True) if one.unserved)


def test_a_changed_policy_counts_anew():
    fleet = read_fleet("sample_fleets/twelve_sites.xlsx")
    assert (count(fleet).hosts, count(fleet).proven) == (4, True)
    for cap in (2, 3, 8):
        changed = fleet.replace(policy=fleet.policy.replace(cluster_cap=cap))
        assert count(changed).hosts == plan(changed).hosts
    assert count(fleet).hosts == 4


def test_whole_sites_that_rounding_does_not_place_are_placed_by_the_model(monkeypatch):
    rng = np.random.default_rng(1)
    reached = rng.random((60, 6)) < 0.4
    reached[np.arange(60), rng.integers(0, 6, 60)] = True
    fleet = fleet_of(
        np.where(reached, 10.0, 90.0),
        sites={"clusters": rng.integers(1, 4, 60).astype(float)},
        pools={"cluster_cap": np.full(6, 12.0), "max_hosts": np.full(6, 9.0)},
    )
    as_it_is = count(fleet)
    asked = []
    placed = fewest_hosts._whole_sites_on
    monkeypatch.setattr(fewest_hosts, "round_counts", lambda *_arguments: None)
    monkeypatch.setattr(fewest_hosts, "_whole_sites_on", lambda *given: asked.append(1) or placed(*given))
    assert count(fleet) == as_it_is
    assert asked
