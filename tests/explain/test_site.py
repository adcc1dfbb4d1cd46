"""One site: every pool once, eligible as a second reading of the rules has it, and what the plan does there."""

import pandas as pd
import pytest

import planner
from planner.errors import InputError
from planner.explain import explain
from planner.verify.inventory import read_inventory
from planner.verify.rules import broken_rules, eligible


def agrees(fleet, plan):
    """Assert for every site that the view agrees with the verifier's own reading of the rules."""
    inventory = read_inventory(fleet)
    for site in fleet.site_ids:
        view = explain(fleet, plan, site=site).site
        assert [pool.pool for pool in view.pools] == sorted(fleet.pool_ids)
        for pool in view.pools:
            record = inventory.pools[pool.pool]
            assert pool.eligible == eligible(inventory, inventory.sites[site], record), (site, pool)
            codes = {reason.code for reason in pool.reasons}
            second = {code for code, _ in broken_rules(inventory, inventory.sites[site], record)}
            assert codes - {"capacity"} == second
        serving = {host.pool for host in plan.host_list if host.host in {a.host for a in view.assignments}}
        assert {pool.pool for pool in view.pools if pool.serves} == serving


def test_every_site_of_the_sample_fleet_agrees_with_the_verifier(twelve_sites):
    agrees(twelve_sites, planner.plan(twelve_sites))


def test_every_site_of_a_random_fleet_agrees_with_the_verifier():
    from sample_fleets.make_fleet import generate

    fleet = planner.fleet_from_tables(generate(60, 8, seed=5))
    agrees(fleet, planner.plan(fleet))


def test_a_served_site_names_its_host_and_what_shuts_it_out_elsewhere(twelve_sites):
    view = explain(twelve_sites, site="M05").site
    alder, birch, _ = view.pools
    assert (alder.eligible, alder.serves, alder.rtt_ms, alder.evidence) == (True, True, 12.0, "measured")
    assert [reason.code for reason in birch.reasons] == ["latency"]
    assert "20.4 ms" in birch.reasons[0].detail
    assert view.words.startswith("Served by ALDER-0")


def test_a_site_with_a_tie_breaker_of_its_own_says_so(twelve_sites):
    view = explain(twelve_sites, site="M12").site
    assert view.words == "Site M12 needs no shared host: it has its own tie-breaker."


def test_an_unserved_site_says_why_and_what_would_help(make):
    fleet = make.fleet([[10.0], [60.0], [float("nan")]])
    view = explain(fleet, site="S1").site
    assert view.unserved.site == "S1"
    assert view.words.startswith("Unserved: best RTT 60.0 ms")
    unknown = explain(fleet, site="S2").site.pools[0]
    assert (unknown.rtt_ms, unknown.evidence) == (None, None)


@pytest.mark.parametrize(("asked", "meant"), [("m05", "M05"), ("M5", "M05"), ("M122", "M12")])
def test_an_unknown_site_is_refused_with_similar_ids(twelve_sites, asked, meant):
    with pytest.raises(planner.InputError) as caught:
        explain(twelve_sites, site=asked)
    (finding,) = caught.value.findings
    assert asked in finding.message
    assert meant in finding.hint


def test_an_id_is_found_without_its_leading_zeros_and_by_its_name():
    from planner.explain.site import position_of
    from planner.intake import fleet_from_tables

    tables = {
        "Sites": pd.DataFrame({"site": ["0024", "0241", "A7"], "name": ["Mill", "Quay", "Quay"]}),
        "Hubs": pd.DataFrame({"hub": ["ESK"]}),
    }
    fleet = fleet_from_tables(tables, {"latency_budget_ms": 40})
    assert [position_of(fleet, name) for name in ("0024", "24", "00241", "A7", "mill")] == [0, 0, 1, 2, 0]
    with pytest.raises(InputError):
        position_of(fleet, "Quay")  # two bear that name
