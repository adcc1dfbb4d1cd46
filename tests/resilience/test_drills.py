"""Drills against a replay in plain Python: one dict of loads, one site after the other."""

import itertools
from collections import Counter

import pytest

from planner import InputError
from planner import drill as run_drill
from tests.how_many import seeds


def replay(case, lost_hosts):
    """Lose hosts, send each displaced row to its standby if that is left, and count."""
    load = Counter()
    for row in case.plan.assignments:
        load[row.host] += row.clusters
    displaced = stranded = 0
    arriving = Counter()
    for row in case.plan.assignments:
        if row.host in lost_hosts:
            displaced += row.clusters
            if row.standby is None or row.standby in lost_hosts:
                stranded += row.clusters
            else:
                arriving[row.standby] += row.clusters
    cap = {host.host: host.cap for host in case.plan.host_list}
    over = {host: load[host] + more - cap[host] for host, more in arriving.items() if load[host] + more > cap[host]}
    return displaced, stranded, sum(over.values()), set(over)


def hosts_lost(case, loss):
    """Hosts that a loss takes, from the notation of the case."""
    hub_of = dict(case.hosts)
    zones = dict(zip(case.fleet.pools["hub"], case.fleet.pools["zone"], strict=True))
    if loss.kind == "host":
        return {loss.name}
    if loss.kind == "hub":
        return {host for host, hub in hub_of.items() if hub == loss.name}
    return {host for host, hub in hub_of.items() if loss.name in zones[hub]}


@pytest.mark.parametrize("seed", seeds(20, 40))
def test_every_single_loss_and_the_worst_pair_are_those_of_the_replay(random_case, seed):
    case = random_case(seed, sites=10, split=seed % 3 == 0, cap=14)
    report = run_drill(case.fleet, case.plan)
    by_loss = {}
    for single in report.singles:
        figures = single.figures
        by_loss[single.loss] = hosts_lost(case, single.loss)
        displaced, stranded, over, overfilled = replay(case, by_loss[single.loss])
        assert (figures.displaced, figures.stranded, figures.over) == (displaced, stranded, over)
        assert set(figures.overfilled) == overfilled
        assert figures.hosts == len(by_loss[single.loss])
        assert figures.survived == (stranded + over == 0)
    hubs, hosts = {hub for _, hub in case.hosts}, {host for host, _ in case.hosts}
    assert {loss.name for loss in by_loss if loss.kind == "hub"} == hubs
    assert {loss.name for loss in by_loss if loss.kind == "host"} == hosts
    worst = 0
    for one, other in itertools.combinations(by_loss.values(), 2):
        if not (one <= other or other <= one):
            _, stranded, over, _ = replay(case, one | other)
            worst = max(worst, stranded + over)
    assert report.pairs[0].figures.unprotected_after == worst
    left = [pair.figures.unprotected_after for pair in report.pairs]
    assert left == sorted(left, reverse=True)


@pytest.mark.parametrize("seed", seeds(10, 20))
def test_a_named_loss_lists_the_sites_that_its_figures_count(random_case, seed):
    case = random_case(seed, sites=10, cap=14)
    names = [host for host, _ in case.hosts][:2]
    drill = run_drill(case.fleet, case.plan, names).drill
    displaced, stranded, over, overfilled = replay(case, set(names))
    assert sum(row.clusters for row in drill.displaced) == drill.figures.displaced == displaced
    left = sum(row.clusters for row in drill.displaced if row.outcome != "rehomed")
    assert left == drill.figures.stranded == stranded
    assert sum(load.over for load in drill.loads) == drill.figures.over == over
    assert {load.host for load in drill.loads if load.over} == overfilled
    assert set(drill.hosts_lost) == set(names)
    assert all(row.why == "host" for row in drill.displaced)


def two_hubs(build, **options):
    rows = [("A", 2, "N-1", "S-1"), ("B", 3, "N-1", None), ("C", 4, "S-1", "N-1"), ("D", 1, "N-2", "N-1")]
    return build({"N": ["N-1", "N-2"], "S": ["S-1"]}, rows, **options)


def outcomes(drill):
    return {row.site: row.outcome for row in drill.displaced}


def test_the_loss_of_a_host(build):
    case = two_hubs(build)
    drill = run_drill(case.fleet, case.plan, ["N-1"]).drill
    assert outcomes(drill) == {"A": "rehomed", "B": "no_standby"}
    (load,) = drill.loads
    assert (load.host, load.before, load.arriving, load.after, load.cap) == ("S-1", 4, 2, 6, 10)
    assert (drill.figures.displaced, drill.figures.unprotected_after, drill.figures.survived) == (5, 3, False)


def test_the_loss_of_a_hub_takes_standbys_at_it_too(build):
    case = two_hubs(build)
    drill = run_drill(case.fleet, case.plan, ["N"]).drill
    assert outcomes(drill) == {"A": "rehomed", "B": "no_standby", "D": "standby_lost"}
    assert drill.hosts_lost == ("N-1", "N-2")


def test_a_zone_takes_every_hub_that_it_touches_and_names_the_sites_in_it(build):
    case = two_hubs(build, zones={"N": ("feed", "x"), "S": ("feed",)}, site_zones={"B": ("feed",)})
    drill = run_drill(case.fleet, case.plan, ["feed"]).drill
    assert drill.hosts_lost == ("N-1", "N-2", "S-1")
    assert drill.sites_in_zone == ("B",)
    assert drill.figures.in_zone == 1
    assert outcomes(drill)["A"] == "standby_lost"


def test_a_load_equal_to_the_cap_is_no_overfill_and_one_more_is(build):
    rows = [("A", 4, "N-1", "S-1"), ("C", 6, "S-1", None)]
    hosts = {"N": ["N-1"], "S": ["S-1"]}
    full = build(hosts, rows, cap=10)
    assert run_drill(full.fleet, full.plan, ["N-1"]).drill.figures.survived
    over = build(hosts, rows, cap=9)
    figures = run_drill(over.fleet, over.plan, ["N-1"]).drill.figures
    assert (figures.over, figures.overfilled, figures.survived) == (1, ("S-1",), False)


def test_the_use_of_a_reserve_is_told_but_survived(build):
    rows = [("A", 4, "N-1", "S-1"), ("C", 6, "S-1", None)]
    case = build({"N": ["N-1"], "S": ["S-1"]}, rows, cap=10, policy={"reserve_percent": 10.0})
    figures = run_drill(case.fleet, case.plan, ["N-1"]).drill.figures
    assert (figures.into_reserve, figures.over, figures.survived) == (("S-1",), 0, True)


def test_a_standby_that_a_rule_forbids_takes_nobody_over(build):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1")])
    case.with_column("sites", "barred_hubs", [("S",)])
    drill = run_drill(case.fleet, case.plan, ["N-1"]).drill
    assert outcomes(drill) == {"A": "not_eligible"}
    assert "barred_hub" in drill.displaced[0].detail


@pytest.mark.parametrize("standby", ["gone", "N-1"])
def test_a_plan_edited_by_hand_may_name_a_standby_that_cannot_be_one(build, standby):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", standby)])
    drill = run_drill(case.fleet, case.plan, ["N-1"]).drill
    assert outcomes(drill) == {"A": "not_eligible"}
    assert drill.displaced[0].detail


def test_a_site_or_host_that_nobody_knows_does_not_end_the_drill(build):
    case = two_hubs(build)
    rows = tuple(row for row in case.plan.assignments)
    import dataclasses

    odd = (dataclasses.replace(rows[0], site="unknown"), dataclasses.replace(rows[1], host="unknown"), *rows[2:])
    report = run_drill(case.fleet, case.plan.replace(assignments=odd))
    assert report.singles
    assert (
        outcomes(run_drill(case.fleet, case.plan.replace(assignments=odd), ["N-1"]).drill)["unknown"] == "not_eligible"
    )


def test_a_plan_without_hosts_has_nothing_to_lose(build):
    case = build({"N": []}, [], unserved=("A",))
    report = run_drill(case.fleet, case.plan)
    assert (report.singles, report.pairs, report.words) == ((), (), "")


def test_what_the_plan_survives_is_one_sentence(build):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1"), ("B", 2, "S-1", "N-1")])
    assert run_drill(case.fleet, case.plan).words == "The plan survives the loss of any one host and any one hub."
    case = two_hubs(build)
    words = run_drill(case.fleet, case.plan).words
    assert "Losing host N-1 (3 clusters) leaves clusters without a third vote; losing any other host does not." in words


def test_a_claimed_cover_that_a_drill_breaks_is_named_and_a_site_without_standby_is_not_a_breach(build):
    case = two_hubs(build, policy={"cover": "host"})
    assert run_drill(case.fleet, case.plan).broken == ()  # B has no standby, which the plan says itself
    case.with_policy(cover="hub")
    assert [str(loss) for loss in run_drill(case.fleet, case.plan).broken] == ["hub N"]  # D's standby is at N too
    case.with_policy(cover="none")
    assert run_drill(case.fleet, case.plan).broken == ()


@pytest.mark.parametrize("kind", ["host", "hub", "zone"])
@pytest.mark.parametrize("seed", range(3))
def test_a_cover_that_was_planned_survives_every_drill_of_its_kind(kind, seed):
    import planner
    from sample_fleets.make_fleet import generate

    fleet = planner.fleet_from_tables(generate(60, 5, seed=seed))
    fleet = fleet.replace(policy=fleet.policy.replace(cover=kind, reserve_percent=0.0))
    plan = planner.plan(fleet, time_limit=20)
    assert any(row.standby for row in plan.assignments)
    assert run_drill(fleet, plan).broken == ()


@pytest.mark.parametrize(
    ("lose", "code"),
    [
        ("nowhere", "loss_unknown"),
        ("hub:N-1", "loss_unknown"),
        ("both", "loss_ambiguous"),
        ("link:N--S", "loss_unknown"),
    ],
)
def test_names_that_fit_nothing_or_two_things_are_refused_all_at_once(build, lose, code):
    case = build({"N": ["N-1"], "both": ["S-1"]}, [("A", 1, "N-1", None)], zones={"N": ("both",)})
    with pytest.raises(InputError) as caught:
        run_drill(case.fleet, case.plan, [lose, "also nowhere"])
    assert [finding.code for finding in caught.value.findings] == [code, "loss_unknown"]


def test_a_prefix_settles_which_of_two_is_meant_and_a_near_miss_is_told(build):
    case = build({"N": ["N-1"], "both": ["S-1"]}, [("A", 1, "N-1", None)], zones={"N": ("both",)})
    assert run_drill(case.fleet, case.plan, ["zone:both"]).drill.hosts_lost == ("N-1",)
    assert run_drill(case.fleet, case.plan, ["hub:both"]).drill.hosts_lost == ("S-1",)
    with pytest.raises(InputError) as caught:
        run_drill(case.fleet, case.plan, ["host:N-2"])
    assert "host:N-1" in caught.value.findings[0].hint


@pytest.mark.parametrize("seed", seeds(10, 20))
def test_the_largest_radii_are_those_of_the_replay_beside_what_the_policy_allows(random_case, seed):
    case = random_case(seed, sites=10, split=seed % 2 == 0, cap=14)
    weight = {site: 1.0 + i % 3 for i, site in enumerate(case.fleet.site_ids)}
    limits = {
        "max_blast_radius_hub": 9,
        "max_blast_radius_zone": 8,
        "max_share_percent": 30,
        "max_share_percent_zone": 40,
    }
    fleet = case.fleet.replace(
        sites=case.fleet.sites.assign(weight=list(weight.values())), policy=case.fleet.policy.replace(**limits)
    )
    clusters = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    allowed = {"host": (None, 30), "hub": (8, 40), "zone": (8, 40)}
    radii = run_drill(fleet, case.plan).radii
    assert {one.loss.kind for one in radii} >= {"host", "hub"}
    for one in radii:
        rows = [row for row in case.plan.assignments if row.host in hosts_lost(case, one.loss)]
        hit = sum(row.clusters for row in rows)
        share = 100 * sum(weight[row.site] * row.clusters / clusters[row.site] for row in rows) / sum(weight.values())
        assert (one.clusters, one.sites) == (hit, len({row.site for row in rows}))
        assert one.weight_percent == pytest.approx(share)
        assert (one.most_clusters, one.most_percent) == allowed[one.loss.kind]
        assert one.over == (hit > (one.most_clusters or 99) or share > one.most_percent)
    for kind in allowed:
        hits = [one.clusters for one in radii if one.loss.kind == kind]
        assert hits == sorted(hits, reverse=True)
