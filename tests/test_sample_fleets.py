"""The sample fleets are what sample_fleets/README.md says: solved here by enumeration and by a straight model.

Rules, round-trip times and optima are worked out by code that shares nothing with the planner, then compared with the
planner's answers.
"""

import itertools
import math
import re
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

import planner
from planner.releases import parse_release
from sample_fleets import make_county_chain, make_fleet, make_twelve_sites
from sample_fleets.county_equipment import PREPARATION
from sample_fleets.county_fleet import UNSERVABLE, county_tables
from sample_fleets.random_fleet import generate
from sample_fleets.straight_model import (
    Tables,
    clusters_of,
    eligible_pools,
    fewest_hosts,
    filled_largest_first,
    most_hosts,
    settings_of,
    usable_caps,
)
from tests.how_many import ALL_SAMPLES, tries

FOLDER = Path(make_fleet.__file__).parent
LARGE = pytest.mark.skipif(not ALL_SAMPLES, reason="CASTINGVOTE_SAMPLES=all runs it")
README = (FOLDER / "README.md").read_text(encoding="utf-8")


@cache
def twelve_sites() -> Tables:
    book = openpyxl.load_workbook(FOLDER / "twelve_sites.xlsx")
    sheets = {sheet.title: [list(row) for row in sheet.values] for sheet in book}
    tables = {name: pd.DataFrame(rows[1:], columns=rows[0]).fillna({"zone": ""}) for name, rows in sheets.items()}
    tables["Latency"] = tables["Latency"].melt("site", var_name="hub", value_name="rtt_ms")
    return tables


def cells(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    book = openpyxl.load_workbook(path, read_only=True)
    sheets = {sheet.title: list(sheet.values) for sheet in book}
    book.close()
    return sheets


@pytest.mark.parametrize(
    ("script", "name"),
    [
        (make_twelve_sites, "twelve_sites.xlsx"),
        (make_county_chain, "county_chain.xlsx"),
        pytest.param(make_fleet, "national_1200.xlsx", marks=LARGE),
    ],
)
def test_the_script_writes_the_committed_workbook_again(script: Any, name: str, tmp_path: Path) -> None:
    result = CliRunner().invoke(script.main, ["--output", str(tmp_path / name)])
    assert result.exit_code == 0, result.output
    assert cells(tmp_path / name) == cells(FOLDER / name)
    assert (FOLDER / name).stat().st_size < 600_000
    assert [path.name for path in tmp_path.iterdir()] == [name]


# --- twelve_sites ---------------------------------------------------------------------------------------------------


def enumerated(tables: Tables) -> tuple[int, int, set[tuple[str, ...]]]:
    """Fewest hosts, then fewest moves, over every way to put the sites on hosts, and the hubs of the best hosts."""
    clusters, caps, limits = clusters_of(tables), usable_caps(tables), most_hosts(tables)
    today = dict(zip(tables["Current"]["site"], tables["Current"]["host"], strict=True))
    sites, ways = zip(
        *(
            (site, [(pool, f"{pool}-{nth:02d}") for pool in sorted(pools) for nth in range(1, limits[pool] + 1)])
            for site, pools in eligible_pools(tables).items()
        ),
        strict=True,
    )
    best = (len(sites) + 1, 0)
    where: set[tuple[str, ...]] = set()
    for plan in itertools.product(*ways):
        load: Counter[tuple[str, str]] = Counter()
        for site, host in zip(sites, plan, strict=True):
            load[host] += clusters[site]
        if any(carried > caps[pool] for (pool, _), carried in load.items()):
            continue
        moves = sum(today.get(site, host[1]) != host[1] for site, host in zip(sites, plan, strict=True))
        if (len(load), moves) < best:
            best = (len(load), moves)
        if len(load) == best[0]:
            where = {w for w in where if len(w) == best[0]} | {tuple(sorted(pool for pool, _ in load))}
    return *best, {w for w in where if len(w) == best[0]}


def test_twelve_sites_need_four_hosts_and_two_moves() -> None:
    hosts, moves, where = enumerated(twelve_sites())
    assert (hosts, moves) == (4, 2)
    assert where == {("ALDER", "ALDER", "BIRCH", "CEDAR")}


def test_the_counting_argument_of_the_readme_holds() -> None:
    tables = twelve_sites()
    eligible, clusters = eligible_pools(tables), clusters_of(tables)
    west = {site for site, pools in eligible.items() if pools == {"ALDER"}}
    not_west = {site for site, pools in eligible.items() if "ALDER" not in pools}
    assert west == {"M01", "M02", "M04", "M05"}
    assert not_west == {"M03", "M06", "M08", "M09", "M10", "M11"}
    assert sum(clusters[site] for site in west) == 5
    assert sum(clusters[site] for site in not_west) == 6
    assert math.ceil(5 / 4) + math.ceil(6 / 4) == 4
    assert math.ceil(sum(clusters[site] for site in eligible) / 4) == 3
    for site, pools in eligible.items():
        row = re.search(rf"^\| {site} \|.*\| (.*) \|$", README, re.MULTILINE)
        assert row is not None
        assert row[1] == " or ".join(sorted(pools))


def test_without_the_near_miss_three_hosts_would_do() -> None:
    tables = dict(twelve_sites())
    latency = tables["Latency"].set_index(["site", "hub"])
    assert latency.loc[("M05", "BIRCH"), "rtt_ms"] == 20.4
    latency.loc[("M05", "BIRCH"), "rtt_ms"] = 20.0
    tables["Latency"] = latency.reset_index()
    assert enumerated(tables)[0] == 3


def test_the_planner_solves_twelve_sites() -> None:
    fleet = planner.read_fleet(FOLDER / "twelve_sites.xlsx")
    assert {finding.severity for finding in fleet.findings} == {"info"}
    plan = planner.plan(fleet)
    assert (plan.status, plan.hosts, plan.lower_bound, plan.unserved) == ("optimal", 4, 4, ())
    assert sum(assignment.action == "move" for assignment in plan.assignments) == 2
    assert [one.site for one in plan.no_host_needed] == ["M12"]
    assert planner.verify(fleet, plan) == ()


# --- county_chain ---------------------------------------------------------------------------------------------------


@cache
def county() -> Tables:
    return county_tables()


def test_the_county_chain_needs_twelve_hosts_where_counting_says_eleven() -> None:
    assert fewest_hosts(county()) == 12
    assert fewest_hosts(county(), limited=False) == 11
    assert filled_largest_first(county()) == 11


def test_sites_of_the_county_chain_with_a_possible_own_tie_breaker_do_not_change_the_count() -> None:
    possible = frozenset(county()["Sites"].query("own_tie_breaker == 'possible'")["site"])
    assert len(possible) == 2
    assert fewest_hosts(county(), leave_out=possible) == 12


def test_exactly_the_sites_made_for_it_cannot_be_served() -> None:
    role = dict(zip(county()["Sites"]["site"], county()["Sites"]["role"], strict=True))
    unserved = {site for site, pools in eligible_pools(county()).items() if not pools}
    assert {role[site] for site in unserved} == set(UNSERVABLE)
    assert unserved == {site for site, made_for in role.items() if made_for in UNSERVABLE}


def test_probes_settle_eligibility_whatever_the_percentile() -> None:
    for _, probes in county()["Samples"].groupby(["site", "hub"])["rtt_ms"]:
        assert len({rtt_ms <= settings_of(county())["latency_budget_ms"] for rtt_ms in probes.dropna()}) == 1


def test_intake_reads_the_untidy_workbook_as_the_clean_tables() -> None:
    fleet, clean = planner.read_fleet(FOLDER / "county_chain.xlsx"), county()
    codes = {finding.code for finding in fleet.findings}
    assert "error" not in {finding.severity for finding in fleet.findings}
    assert codes >= {"total_row", "number_comma", "number_text", "id_repaired", "id_number", "text_tidied"}
    assert codes >= {"release_shown", "site_unknown", "column_unknown", "sheet_unknown"}
    order = {"Sites": "site", "Latency": ["site", "hub"], "Samples": ["site", "hub", "at"]}
    read = {"Sites": fleet.sites, "Hubs": fleet.pools, "Latency": fleet.latency, "Samples": fleet.samples}
    for name, table in read.items():
        wanted, got = (plain(t).sort_values(order.get(name, "pool"), ignore_index=True) for t in (clean[name], table))
        for column in wanted.columns.intersection(got.columns):
            assert comparable(wanted[column]) == comparable(got[column]), (name, column)
    look = {
        cell.value: cell.number_format for cell in openpyxl.load_workbook(FOLDER / "county_chain.xlsx")["Stores"]["G"]
    }
    assert look[8.1] == "0.00"  # 8.10, which would be below the floor if it were 8.1
    assert len(fleet.current) == len(clean["Current"])
    assert fleet.links["latency_ms"].tolist() == pytest.approx(clean["Links"]["latency_ms"].tolist(), nan_ok=True)


def plain(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its ids as text, not as categories."""
    return table.astype({name: object for name in ("site", "hub") if name in table})


def comparable(values: pd.Series) -> list[Any]:
    """Cells in one form: releases by their order, lists of ids as text, words in lower case, blanks as empty text."""
    if values.name in ("release", "host_release"):
        return [parse_release(text) for text in values]
    if values.name == "own_tie_breaker":
        return [text or "no" for text in values]
    joined = [";".join(value) if isinstance(value, tuple) else value for value in values.tolist()]
    return ["" if v is None or v != v else v.casefold() if isinstance(v, str) else v for v in joined]


def test_the_planner_solves_the_county_chain() -> None:
    fleet = planner.read_fleet(FOLDER / "county_chain.xlsx")
    fleet = fleet.replace(policy=fleet.policy.replace(then=""))  # who goes where takes most of the time
    plan = planner.plan(fleet, time_limit=60)
    assert (plan.status, plan.complete, plan.hosts, plan.lower_bound) == ("optimal", False, 12, 12)
    sites = county()["Sites"]
    assert {one.site for one in plan.unserved} == set(sites[sites["role"].isin(UNSERVABLE)]["site"])
    assert planner.verify(fleet, plan) == ()


def test_the_county_chain_shows_each_outcome_of_readiness() -> None:
    sites = county()["Sites"].set_index("site")
    readiness = planner.audit(planner.read_fleet(FOLDER / "county_chain.xlsx"))
    assert readiness.counts == {"ready": 107, "ready_after": 63, "not_a_fit": 1, "no_host_needed": 9}
    asked = [site for site in readiness.sites if site.outcome != "no_host_needed"]
    assert {sites["preparation"][site.site] for site in asked} == set(PREPARATION)
    for site in asked:
        found = {item.code for item in site.items}
        due = set(FOUND[sites["preparation"][site.site]])
        due |= {"management_floor"} if sites["release"][site.site] in ("7.9", "8.2") else set()
        due |= {"release_floor"} if sites["role"][site.site] == "too_old" else set()
        due |= {"eligible_hub"} if sites["role"][site.site] in UNSERVABLE else set()
        assert found - {"eligible_hub"} == due - {"eligible_hub"}, site
        assert found <= due, site


FOUND = {
    "sound": (),
    "slow_link": ("node_link",),
    "one_vlan": ("own_network",),
    "overlap": ("own_network",),
    "mixed": ("own_network",),
    "thin_uplink": ("uplink",),
    "no_such_vlan": ("own_network",),
    "not_surveyed": ("nodes", "one_location", "node_link", "service_link", "storage", "own_network", "uplink"),
    "two_places": ("one_location",),
}


# --- random fleets --------------------------------------------------------------------------------------------------


@cache
def national() -> Tables:
    return generate()


@LARGE
def test_national_1200_needs_23_hosts_where_counting_and_unlimited_hubs_say_21() -> None:
    assert fewest_hosts(national()) == 23
    assert fewest_hosts(national(), limited=False) == 21
    assert filled_largest_first(national()) == 21
    assert sum(not pools for pools in eligible_pools(national()).values()) == 3


@LARGE
def test_the_planner_solves_national_1200() -> None:
    fleet = planner.read_fleet(FOLDER / "national_1200.xlsx")
    assert {(found.severity, found.code) for found in fleet.findings} == {("info", "latency_gaps")}
    plan = planner.plan(fleet, time_limit=60)
    assert (plan.hosts, plan.lower_bound, len(plan.unserved)) == (23, 23, 3)
    assert planner.verify(fleet, plan) == ()


def test_round_trip_times_break_the_triangle_inequality() -> None:
    wide = national()["Latency"].pivot(index="site", columns="hub", values="rtt_ms").to_numpy()[:200]
    # Site a to hub h is more than a to g, g to site b, b to h together.
    around = np.nanmin(wide[:, None, :] + wide[None, :, :], axis=2)  # a, b by the best g
    detour = around[:, :, None] + wide[None, :, :]
    assert np.nanmean(wide > np.nanmin(detour, axis=1) + 0.05) > 0.01


def test_another_seed_gives_another_fleet_and_the_same_seed_the_same() -> None:
    one, same, other = (generate(80, 6, seed) for seed in (5, 5, 6))
    for name in one:
        pd.testing.assert_frame_equal(one[name], same[name])
    assert not one["Sites"].equals(other["Sites"])


def test_large_fleets_know_the_nearest_hubs_only() -> None:
    tables = generate(20_000, 200)
    assert len(tables["Sites"]) == 20_000
    assert tables["Latency"]["site"].value_counts().max() == 40
    assert not tables["Latency"].duplicated(["site", "hub"]).any()


@pytest.mark.parametrize("wrong", [{"sites": 0}, {"tightness": 1.5}, {"cluster_cap": 3}, {"sites": 2, "unservable": 3}])
def test_impossible_sizes_and_shares_are_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"fleet|between|small"):
        generate(**wrong)


@settings(max_examples=tries(5), deadline=None)
@example(
    sites=4, hubs=2, seed=1204, tightness=0.0, kept_together=0.0, regional=0.0, mixed_caps=False, cluster_cap=8
)  # nobody can stay on the host of today: the search for fewer moves compared costs of different length
@given(
    sites=st.integers(4, 60),
    hubs=st.integers(1, 7),
    seed=st.integers(0, 10**6),
    tightness=st.floats(0, 1),
    kept_together=st.floats(0, 1),
    regional=st.floats(0, 1),
    mixed_caps=st.booleans(),
    cluster_cap=st.integers(8, 40),
)
def test_all_but_the_unservable_sites_of_any_random_fleet_are_served(
    sites: int, hubs: int, seed: int, **how: Any
) -> None:
    tables = {name: plain(table) for name, table in generate(sites, hubs, seed, unservable=2, **how).items()}
    fleet = planner.fleet_from_tables(tables)
    plan = planner.plan(fleet, time_limit=20)
    assert len(plan.unserved) == min(2, int((fleet.sites["own_tie_breaker"] == "no").sum()))
    today = fleet.current.merge(fleet.sites, on="site").groupby(["hub", "host"])["clusters"].sum().reset_index()
    caps = dict(zip(fleet.pools["hub"], fleet.cluster_caps, strict=True))
    assert all(load <= caps[hub] for hub, load in zip(today["hub"], today["clusters"], strict=True))
    assert (fleet.existing_hosts <= fleet.max_hosts).all()
