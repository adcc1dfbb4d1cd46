"""Two plans compared: what differs is found, nothing else is, and the cause is the change that was made."""

import dataclasses

import pytest

import planner
from planner import columns
from planner.differences import plans_between, sides
from planner.differences.difference import FleetChange
from planner.differences.fleet_changes import counts
from planner.differences.fleets_between import ORDER, fleet_between
from planner.differences.served import hosts_of
from planner.differences.which_fleet import doubtful_identity
from planner.plan_parts import Unserved
from planner.rules import RULES
from planner.sizing.solvers import budget as budgets
from sample_fleets.make_fleet import generate


@pytest.fixture(scope="module")
def october():
    fleet = planner.fleet_from_tables(generate(60, 5, seed=4, unservable=1, mixed_caps=False, cluster_cap=24))
    return fleet, planner.plan(fleet)


def with_rtt(fleet, site, hub, rtt_ms):
    table = fleet.latency.copy()
    table.loc[(table["site"] == site) & (table["hub"] == hub), "rtt_ms"] = rtt_ms
    return fleet.replace(latency=table)


def without_sites(fleet, gone):
    return fleet.replace(sites=fleet.sites[~fleet.sites["site"].isin(gone)].reset_index(drop=True))


def standing(fleet, plan):
    """The fleet with the plan carried out."""
    return fleet.replace(current=fleet_between(fleet, fleet, ORDER, plan).current)


def after(fleet, plan):
    """The plan of a changed fleet where the old plan is carried out."""
    fleet = standing(fleet, plan)
    return fleet, planner.plan(fleet)


def differing(old, new):
    """Sites that two plans say another thing of, host by host: by a look at the rows alone."""
    kinds = (("served", "assignments"), ("left out", "unserved"), ("no need", "no_host_needed"))
    said = [{} for _ in range(2)]
    for plan, into in zip((old, new), said, strict=True):
        for word, rows in kinds:
            for row in getattr(plan, rows):
                into.setdefault(row.site, set()).add((word, getattr(row, "host", "")))
    return {site for site in {*said[0], *said[1]} if said[0].get(site) != said[1].get(site)}


def test_a_plan_does_not_differ_from_itself(october):
    found = planner.compare(october, october)
    assert found.same
    assert not found.changes
    assert found.headline == "old and new have the same hosts, and each site on the same host."


CHANGES = {
    "opened": lambda fleet, plan: fleet,
    "closed": lambda fleet, plan: without_sites(fleet, [plan.assignments[0].site, plan.assignments[7].site]),
    "latency": lambda fleet, plan: with_rtt(fleet, plan.assignments[3].site, plan.assignments[3].hub, 900.0),
    "policy": lambda fleet, plan: fleet.replace(policy=fleet.policy.replace(reserve_percent=45.0)),
    "hub": lambda fleet, plan: fleet.replace(
        pools=fleet.pools[fleet.pools["hub"] != plan.host_list[0].hub].reset_index(drop=True)
    ),
    "site": lambda fleet, plan: fleet.replace(
        sites=fleet.sites.assign(
            barred_hubs=[(plan.assignments[5].hub,) if s == plan.assignments[5].site else () for s in fleet.site_ids]
        )
    ),
}


@pytest.mark.parametrize("kind", CHANGES)
def test_one_kind_of_change_is_the_cause_of_what_has_to_differ(october, kind):
    fleet, plan = october
    if kind == "opened":
        fleet = without_sites(fleet, [row.site for row in plan.assignments[::9]])
        old, new = (fleet, planner.plan(fleet)), after(october[0], plan)
    else:
        old, new = october, after(CHANGES[kind](fleet, plan), plan)
    found = planner.compare(old, new)
    assert {row.site for row in found.sites if row.what not in ("margin", "standby", "other reasons")} == differing(
        old[1], new[1]
    )
    assert kind in {row.cause for row in found.sites}
    assert {change.cause for change in found.changes} == {kind}
    assert {row.cause for row in found.sites} <= {kind, "aims", "equals", "current"}
    assert not found.unknown
    assert sum(len(step.moved) for step in found.between) == len(found.fewest_moves.moved)


def test_a_pair_measured_anew_beyond_its_budget_is_told_with_both_figures(october):
    fleet, plan = october
    row = plan.assignments[3]
    found = planner.compare(october, after(with_rtt(fleet, row.site, row.hub, 900.0), plan))
    (told,) = [one for one in found.sites if one.site == row.site and one.what in ("other host", "left out")]
    assert (told.cause, told.planned, told.behind) == ("latency", False, (row.site,))
    assert f"rtt_ms {row.rtt_ms:g} -> 900" in told.why


def test_another_margin_on_the_same_host_names_its_round_trip_time(october):
    fleet, plan = october
    row = max(plan.assignments, key=lambda row: row.margin_ms)
    found = planner.compare(october, after(with_rtt(fleet, row.site, row.hub, row.rtt_ms + 0.5), plan))
    assert [(one.site, one.what, one.cause) for one in found.sites] == [(row.site, "margin", "latency")]


def rearranged(fleet, then):
    """A plan of the fleet that nothing keeps near today, best by the later aims ``then``."""
    return planner.plan(fleet.replace(policy=fleet.policy.replace(then=then), current=fleet.current.iloc[:0]))


def test_moves_that_nobody_needs_are_a_choice_among_equals(october):
    fleet, _ = october
    found = planner.compare(october, (fleet, rearranged(fleet, "spread").replace(then=())))
    moved = [row for row in found.sites if row.what == "other host"]
    assert moved
    assert {(row.cause, row.planned) for row in moved} == {("equals", True)}
    assert found.fewest_moves.moved == ()


def test_moves_for_a_later_aim_name_it_and_no_plan_that_is_worse_on_it_is_called_equal(october):
    fleet, _ = october
    found = planner.compare(october, (fleet, rearranged(fleet, "spread")))
    moved = [row for row in found.sites if row.what == "other host"]
    assert {(row.cause, row.planned) for row in moved} == {("aims", True)}
    assert "on its fullest host instead of" in moved[0].why
    assert not any("equally good" in line for line in found.words)


def test_hosts_that_a_policy_asks_for_have_it_as_their_cause_wherever_they_are(october):
    fleet, plan = october
    fleet = standing(fleet, plan).replace(policy=fleet.policy.replace(cover="host"))
    found = planner.compare(october, (fleet, rearranged(fleet, "latency")))
    assert found.new.headline
    come = [row for row in found.hosts if row.what == "new in the plan"]
    assert len(come) >= 2
    assert {row.cause for row in come} == {"policy"}


def test_a_new_plan_with_a_host_too_many_is_not_called_necessary(october):
    fleet, plan = october
    spare = dataclasses.replace(plan.host_list[0], host="SPARE-01", clusters=0)
    worse = plan.replace(
        host_list=(*plan.host_list, spare), objective_value=plan.objective_value + 1, status="feasible"
    )
    found = planner.compare(october, (fleet, worse))
    assert [(row.host, row.cause) for row in found.hosts] == [("SPARE-01", "worse")]


def test_several_kinds_of_change_share_out_the_hosts_and_moves(october):
    fleet, plan = october
    changed = with_rtt(
        without_sites(fleet, [plan.assignments[0].site]), plan.assignments[3].site, plan.assignments[3].hub, 800.0
    )
    new = after(changed.replace(policy=changed.policy.replace(reserve_percent=45.0)), plan)
    found = planner.compare(october, new)
    assert [step.cause for step in found.between] == ["policy", "latency", "closed"]
    assert found.between[-1].hosts == new[1].hosts
    nearest = found.fewest_moves
    moved = {row.site for row in found.sites if row.what == "other host"}
    assert len(nearest.moved) <= len(moved)
    assert sorted(site for step in found.between for site in step.moved) == list(nearest.moved)
    assert not found.unknown
    assert found.headline.startswith(f"{new[1].hosts} hosts instead of {plan.hosts}")


def test_the_fleet_with_all_changes_made_plans_as_the_new_one_does(october):
    fleet, plan = october
    new = with_rtt(
        without_sites(fleet, [plan.assignments[0].site]), plan.assignments[3].site, plan.assignments[3].hub, 800.0
    )
    new = standing(new.replace(policy=new.policy.replace(reserve_percent=45.0)), plan)
    through = planner.plan(fleet_between(fleet, new, ORDER, plan))
    straight = planner.plan(new)
    assert through.replace(seconds={}, findings=(), sources=()) == straight.replace(seconds={}, findings=(), sources=())


def test_the_fleet_with_no_change_made_plans_as_the_old_one_does(october):
    fleet, plan = october
    old = standing(fleet, plan)
    new = without_sites(with_rtt(fleet, plan.assignments[3].site, plan.assignments[3].hub, 800.0), ["0001"])
    between = planner.plan(fleet_between(old, new, (), plan))
    assert hosts_of(between) == hosts_of(planner.plan(old))


def test_without_fleets_only_what_the_plans_show_has_a_cause(october):
    fleet, plan = october
    row = plan.assignments[3]
    changed = without_sites(with_rtt(fleet, row.site, row.hub, 900.0), [plan.assignments[0].site])
    found = planner.compare(plan, after(changed, plan)[1])
    causes = {one.site: one.cause for one in found.sites}
    assert causes[plan.assignments[0].site] == "closed"
    assert causes[row.site] == "unknown"
    assert found.unknown
    assert found.headline.startswith(f"{found.unknown} difference")
    assert found.notes


def test_without_time_no_plan_is_made_and_it_is_said(october):
    fleet, plan = october
    found = planner.compare(
        october, after(fleet.replace(policy=fleet.policy.replace(reserve_percent=45.0)), plan), time_limit=0
    )
    assert {step.cause for step in found.between} <= {"search"}
    assert found.fewest_moves is None
    assert {row.cause for row in found.sites} <= {"unknown", "current"}
    assert "time was too short" in found.notes[0]


def test_what_is_in_force_can_stand_for_the_old_plan(october):
    fleet, plan = october
    found = planner.compare(fleet, october, today=True)
    moved = {row.site for row in found.sites if row.what == "other host"}
    assert moved == {row.site for row in plan.assignments if row.action == "move"}
    assert found.old.what == "fleet as it stands"
    with pytest.raises(planner.InputError, match="Current"):
        planner.compare(fleet.replace(current=fleet.current.iloc[:0]), october, today=True)


def test_cover_asked_for_is_the_cause_of_standbys(october):
    fleet, plan = october
    covered = fleet.replace(policy=fleet.policy.replace(cover="host"))
    found = planner.compare(october, after(covered, plan))
    standbys = [row for row in found.sites if row.what == "standby"]
    assert standbys
    assert {row.cause for row in standbys} == {"policy"}
    assert not found.unknown
    assert f"; {len(standbys)} sites with a standby now" in found.headline


def test_standbys_that_are_lost_are_in_the_headline(october):
    """A plan without any standby any more was told as one with other standbys."""
    fleet, plan = october
    each = tuple(dataclasses.replace(row, standby="EAST-01") for row in plan.assignments)
    found = planner.compare((fleet, plan.replace(assignments=each)), october, time_limit=0)
    assert f"; {len(each)} sites without a standby any more" in found.headline


def test_its_tables_are_frames_and_one_line_tells_what_it_comes_to(october):
    fleet, plan = october
    found = planner.compare(october, after(without_sites(fleet, [plan.assignments[0].site]), plan), time_limit=0)
    assert list(found.frames) == ["figures", "hosts", "sites", "changes", "between"]
    assert len(found.sites_frame) == len(found.sites)
    assert found.headline in repr(found)


def test_every_column_that_a_plan_is_made_from_is_a_cause():
    read_by_rules = {name for reads in sides._READS.values() for names in reads[:3] for name in names}
    known = {column.name for sheet in (columns.SITES, columns.HUBS) for column in sheet.columns}
    assert read_by_rules <= known | {setting.name for setting in columns.SETTINGS}
    for sheet, at in ((columns.SITES, 0), (columns.HUBS, 1), (columns.POLICY, 2)):
        assert all(counts(sheet, name) for reads in sides._READS.values() for name in reads[at])
    assert set(sides._READS) == {rule.code for rule in RULES}
    assert not counts(columns.SITES, "owner")


def test_a_lead_time_is_no_cause_of_a_plan_and_is_said_all_the_same(october):
    fleet, plan = october
    later = fleet.replace(
        pools=fleet.pools.assign(lead_time_days=90.0), policy=fleet.policy.replace(spare_percent=10, lead_time_days=60)
    )
    found = planner.compare(october, after(later, plan))
    assert {step.cause for step in found.between} <= {"search"}
    assert {change.cause for change in found.changes if change.column != "host_names"} == {"other"}
    (note,) = [note for note in found.notes if note.startswith("Plans do not depend on these changes")]
    assert "lead_time_days (5 rows of Hubs)" in note
    assert "spare_percent" in note


def test_fleets_of_two_ids_and_sites_that_are_only_renamed_are_said(october):
    fleet, _ = october
    first = fleet.site_ids[0]

    def again(table):
        return table.assign(site=table["site"].astype(object).replace(first, "N1"))

    tables = {name: again(getattr(fleet, name)) for name in ("sites", "latency", "current")}
    other = fleet.replace(**tables, policy=fleet.policy.replace(fleet_id="banks"))
    here = fleet.replace(policy=fleet.policy.replace(fleet_id="shops"))
    two, renamed = doubtful_identity(here, other)
    assert two == "These are two fleets: the setting fleet_id is shops in the old one and banks in the new one."
    assert f": {first} -> N1. They count as closed and opened." in renamed
    assert not [*doubtful_identity(fleet, here)]


def cut_short(monkeypatch, plan):
    """Let time end in the nearest plan, which is ``plan``."""

    def planned(_fleet, budget):
        budget.stopped.set()
        return plan

    monkeypatch.setattr(plans_between, "planned", planned)


def test_a_plan_that_keeps_a_site_shows_that_it_can_stay_however_little_time_was_left(october, monkeypatch):
    """Such sites were said to differ for a cause that is not known."""
    fleet, plan = october
    one, other = (next(row for row in plan.assignments if row.host == host.host) for host in plan.host_list[:2])
    swapped = {one.site: other.host, other.site: one.host}
    rows = tuple(dataclasses.replace(row, host=swapped.get(row.site, row.host)) for row in plan.assignments)
    cut_short(monkeypatch, plan)
    other_reserve = fleet.replace(policy=fleet.policy.replace(reserve_percent=1))
    found = planner.compare(october, (other_reserve, plan.replace(assignments=rows)))
    assert {row.site for row in found.sites if row.what == "other host"} == set(swapped)
    assert not found.unknown


def test_where_time_ends_before_the_nearest_plan_is_as_good_the_new_one_stands_for_it(october, monkeypatch):
    """A site that only the new plan has served, or elsewhere, was said to differ for a cause that is not known."""
    fleet, plan = october
    cut_short(monkeypatch, plan.replace(unserved=(*plan.unserved, *_unserved(plan.assignments[0]))))
    first = plan.assignments[0]
    host = next(host.host for host in plan.host_list if host.host != first.host)
    rows = (dataclasses.replace(first, host=host), *plan.assignments[1:])
    other_reserve = fleet.replace(policy=fleet.policy.replace(reserve_percent=1))
    found = planner.compare(october, (other_reserve, plan.replace(assignments=rows)))
    (row,) = [row for row in found.sites if row.what == "other host"]
    assert (row.site, row.cause) == (first.site, "policy")
    assert "not proven" in row.why
    assert not found.unknown


def _unserved(row):
    return (Unserved(row.site, row.clusters, ()),)


def test_no_intermediate_plan_may_take_all_the_time(october, monkeypatch):
    """The first, with cover, took it, and three kinds of change were told as several changes together."""
    fleet, plan = october
    limits = []

    def planned(_fleet, budget):
        limits.append(budget.seconds)
        return plan

    monkeypatch.setattr(plans_between, "planned", planned)
    monkeypatch.setattr(budgets.time, "monotonic", lambda: 0.0)
    sites = ("latency", "closed", "opened")
    changes = [FleetChange(cause, "Sites", "S", "site", "", "") for cause in sites]
    budget = budgets.SolveBudget(60.0, started=0.0)
    road = plans_between.road_between((fleet, plan), (fleet, plan), changes, budget, lambda _words: None)
    assert limits == [24.0, 30.0, 60.0]  # of 60 s, none of which pass here
    assert [step.cause for step in road.steps] == list(sites)
    assert road.whole


def test_hosts_in_other_letters_are_the_same(october):
    """Every site was told to be on another host."""
    fleet, plan = october
    fleet = standing(fleet, plan)
    lower = fleet.replace(current=fleet.current.assign(host=fleet.current["host"].str.lower()))
    found = planner.compare((fleet, planner.plan(fleet)), (lower, planner.plan(lower)))
    assert not [row for row in (*found.hosts, *found.sites) if row.what != "standby"]
    assert "count as the same" in found.notes[0]
