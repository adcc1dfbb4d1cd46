"""Figures at the ends of what is read: a right plan, or a finding that names the cell; never a fault."""

import itertools

import numpy as np
import pandas as pd
import pytest

import planner
from planner import columns
from planner.errors import InputError
from planner.fleet import Policy
from planner.sizing import plan

SHEETS = {
    "Sites": {"site": ["A", "B"], "uplink_mbps": [10.0, 10.0], "own_tie_breaker_cost": [5.0, 5.0]},
    "Hubs": {"hub": ["H", "K"], "host_cost": [3.0, 4.0], "uplink_mbps": [10.0, 10.0]},
    "Latency": {"site": ["A", "A", "B", "B"], "hub": ["H", "K", "H", "K"], "rtt_ms": [5.0, 6.0, 7.0, 8.0]},
}
NUMERIC = [
    (sheet.name, column)
    for sheet in (columns.SITES, columns.HUBS, columns.LATENCY)
    for column in sheet.columns
    if column.highest is not None
]


def fleet_of(policy=None, **changed):
    tables = {name: pd.DataFrame({**sheet, **changed.get(name, {})}) for name, sheet in SHEETS.items()}
    return planner.fleet_from_tables(tables, {"latency_budget_ms": 20, **(policy or {})})


def findings(policy=None, **changed):
    with pytest.raises(InputError) as raised:
        fleet_of(policy, **changed)
    return [(found.where, found.code) for found in raised.value.findings if found.severity == "error"]


@pytest.mark.parametrize(("sheet", "column"), NUMERIC, ids=lambda each: getattr(each, "name", each))
def test_a_plan_is_made_at_both_ends_of_every_column(make, sheet, column):
    objective = "cost" if column.unit == "money" else "hosts"
    for value in {column.least, column.highest}:
        if value == column.least and column.least_excluded:
            value += 1e-6
        rows = len(SHEETS[sheet][next(iter(SHEETS[sheet]))])
        fleet = fleet_of({"objective": objective}, **{sheet: {column.name: [float(value)] * rows}})
        make.sound(fleet, plan(fleet))


@pytest.mark.parametrize(("sheet", "column"), NUMERIC, ids=lambda each: getattr(each, "name", each))
def test_beyond_the_end_the_finding_names_the_cell(sheet, column):
    rows = len(SHEETS[sheet][next(iter(SHEETS[sheet]))])
    found = findings(**{sheet: {column.name: [2.0 * column.highest] * rows}})
    assert {code for _, code in found} == {"number_limit"}
    assert all(where.startswith(f"{sheet}!") for where, _ in found)


@pytest.mark.parametrize("settings", [{"cover": "host"}, {"cover": "hub"}, {"split_sites": "yes"}])
def test_as_many_hosts_as_can_be_written(make, settings):
    fleet = fleet_of(settings, Hubs={"max_hosts": [100_000] * 2, "existing_hosts": [100_000, 0]})
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.status, result.hosts) == ("optimal", 2 if "cover" in settings else 1)


@pytest.mark.parametrize("hosts", [999, 1_000, 10_001])
def test_a_site_split_over_thousands_of_hosts(make, hosts):
    fleet = make.fleet([[5.0]], sites={"clusters": [hosts * 64]}, pools={"max_hosts": [hosts]}, split_sites=True)
    result = plan(fleet)
    assert (result.hosts, result.status) == (hosts, "optimal")


def test_weights_too_far_apart_name_the_largest():
    assert findings(Sites={"weight": [0.001, 1e8]}) == [("Sites!D3", "weights_apart")]
    assert fleet_of(Sites={"weight": [0.001, 1e7]}).too_large is None
    with pytest.raises(InputError, match=r"100,000,000,000 times 0\.001, the smallest unit"):
        fleet_of(Sites={"weight": [0.001, 1e8]})


def test_too_many_clusters_are_told():
    many = pd.DataFrame({"site": [f"S{i}" for i in range(1001)], "clusters": [1e6] * 1001})
    tables = {name: pd.DataFrame(sheet) for name, sheet in SHEETS.items()} | {"Sites": many}
    with pytest.raises(InputError, match="1,001,000,000 clusters"):
        planner.fleet_from_tables(tables, {"latency_budget_ms": 20})


@pytest.mark.parametrize("weight", [1e8 + 0.001, 1e300, float("inf")])
def test_a_fleet_built_in_python_is_refused_as_well(make, weight):
    fleet = make.fleet([[5.0]] * 2, sites={"weight": [weight, 0.001]})
    with pytest.raises(InputError, match="site S00: weight"):
        plan(fleet)


def most_weight(clusters, weights, cap) -> int:
    """Return the most weight of sites that fit on one host: a knapsack, by dynamic programming in whole numbers.

    R. Bellman, Dynamic Programming (1957).
    """
    best = [0] * (cap + 1)
    for size, weight in zip(clusters, weights, strict=True):
        for room in range(cap, size - 1, -1):
            best[room] = max(best[room], best[room - size] + weight)
    return best[cap]


@pytest.mark.parametrize("largest", [1e3, 1e6, 3e9])
def test_the_greatest_weight_is_exact_whatever_stands_beside_it(make, largest):
    for seed in range(4):
        rng = np.random.default_rng(seed)
        clusters = rng.integers(1, 6, 14)
        weights = rng.integers(1, 4, 14) * int(largest) * rng.integers(0, 2, 14) + rng.integers(1, 100, 14)
        cap = int(clusters.sum()) // 2
        sites = {"clusters": clusters, "weight": weights.astype(float)}
        fleet = make.fleet(np.full((14, 1), 5.0), sites=sites, pools={"max_hosts": [1], "cluster_cap": [cap]})
        left = {entry.site for entry in plan(fleet).unserved}
        served = sum(int(w) for site, w in zip(fleet.site_ids, weights, strict=True) if site not in left)
        assert served == most_weight(clusters.tolist(), weights.tolist(), cap)


@pytest.mark.parametrize("largest", [1e3, 1e9])
def test_the_least_money_is_exact_to_the_penny_whatever_stands_beside_it(make, largest):
    """Every site may use every pool, so that counts of hosts alone decide; all of them are tried."""
    for seed in range(4):
        rng = np.random.default_rng(seed)
        caps, most = rng.integers(2, 6, 5), rng.integers(1, 3, 5)
        pence = rng.integers(1, 4, 5) * int(largest) * 100 * rng.integers(0, 2, 5) + rng.integers(1, 10_000, 5)
        pools = {"max_hosts": most, "cluster_cap": caps, "host_cost": pence / 100}
        fleet = make.fleet(np.full((9, 5), 5.0), pools=pools, objective="cost")
        counts = itertools.product(*(range(m + 1) for m in most))
        enough = [count for count in counts if sum(count * caps) >= 9]
        spent = sum(int(pence[int(host.pool[1:])]) for host in plan(fleet).host_list)
        assert spent == min(int(sum(count * pence)) for count in enough)


def test_settings_have_the_limits_of_their_columns():
    for name, column in NUMERIC:
        if name == "Hubs" and column.name in {setting.name for setting in columns.SETTINGS}:
            with pytest.raises(InputError):
                Policy(**{column.name: 2 * column.highest})
