"""Cover where sites may be split: small fleets against every plan of clusters on hosts, with a standby each."""

import itertools

import numpy as np
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.outputs import write_workbook
from planner.outputs.read_plan import read_plan
from planner.sizing import plan
from planner.verify import verify, verify_proof
from tests.arrays import fleet_of
from tests.how_many import mostly
from tests.sizing.test_cover_brute_force import losses, standbys_of


def most_covered(case, hosts, homes, of) -> float:
    """Return the most weight of sites of which each cluster can have a standby; ``homes`` are those of clusters."""
    load = np.bincount(homes, minlength=len(hosts)) if homes else np.zeros(len(hosts))
    hit = losses(case, hosts)
    options = [standbys_of(case, hosts, hit, s, j) for s, j in zip(of, homes, strict=True)]
    best = 0.0
    for choice in itertools.product(*options):
        bare = {s for s, h in zip(of, choice, strict=True) if h is None}
        weight = sum(case["weight"][s] for s in set(of) - bare)
        if weight > best and survives(case, hosts, homes, choice, load, hit):
            best = weight
    return best


def survives(case, hosts, homes, choice, load, hit) -> bool:
    for loss in hit:
        arriving = [0] * len(hosts)
        for j, h in zip(homes, choice, strict=True):
            if h is not None and j in loss:
                arriving[h] += 1
        if any(load[h] + more > case["cap"][hosts[h]] for h, more in enumerate(arriving) if more):
            return False
    return True


def brute_force(case) -> tuple[float, float, int]:
    """Return the best in order: most weight served, most covered, fewest hosts."""
    best = (-1.0, -1.0, -99)
    for numbers in itertools.product(*(range(most + 1) for most in case["most"])):
        hosts = [p for p, number in enumerate(numbers) for _ in range(number)]
        for served in itertools.product([False, True], repeat=len(case["rtt"])):
            weight = sum(w for w, inside in zip(case["weight"], served, strict=True) if inside)
            if (weight, weight, -len(hosts)) <= best:
                continue
            of = [s for s, inside in enumerate(served) if inside for _ in range(case["clusters"][s])]
            options = [[j for j, p in enumerate(hosts) if case["rtt"][s, p] <= 50] for s in of]
            for homes in itertools.product(*options):
                load = np.bincount(homes, minlength=len(hosts)) if homes else []
                if all(n <= min(case["cap"][hosts[j]], case["radius"]) for j, n in enumerate(load)):
                    best = max(best, (weight, most_covered(case, hosts, homes, of), -len(hosts)))
                    if best[:2] == (weight, weight):
                        break
    return best[0], best[1], -best[2]


@st.composite
def cases(draw, cover: str):
    count, width = draw(st.integers(1, 2)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    return {
        "cover": cover,
        "rtt": np.array(each(count * width, st.sampled_from([10.0, 10.0, 50.0, 51.0]))).reshape(count, width),
        "clusters": each(count, st.integers(1, 3)),
        "weight": each(count, st.sampled_from([1.0, 1.0, 2.5])),
        "cap": each(width, st.integers(1, 3)),
        "radius": draw(st.sampled_from([99, 99, 2])),
        "most": draw(st.lists(st.integers(0, 2), min_size=width, max_size=width).filter(lambda most: sum(most) < 5)),
        "hub": [f"H{p}" for p in range(width)],
        "zone": each(width, st.sampled_from([(), ("x",), ("y",), ("x", "y")])),
    }


def as_fleet(case, **policy):
    return fleet_of(
        case["rtt"],
        sites={"clusters": case["clusters"], "weight": case["weight"]},
        pools={"cluster_cap": case["cap"], "max_hosts": case["most"], "zone": case["zone"]},
        hubs=case["hub"],
        cover=case["cover"],
        max_blast_radius=case["radius"],
        split_sites=True,
        **policy,
    )


def reached(fleet, result, weights) -> tuple[float, float, int]:
    """Return the weight served, that of sites with a standby for every cluster, and the hosts."""
    weight = dict(zip(fleet.site_ids, weights, strict=True))
    served = {row.site for row in result.assignments}
    bare = {row.site for row in result.assignments if not row.standby}
    assert bare == {entry.site for entry in result.uncovered}
    return sum(weight[site] for site in served), sum(weight[site] for site in served - bare), result.hosts


@pytest.mark.parametrize("cover", ["host", "hub", "zone"])
def test_split_sites_are_covered_as_well_as_by_any_plan(make, cover, examples):
    equal = []

    @settings(max_examples=3 * examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(cover))
    def check(case):
        fleet = as_fleet(case)
        result = plan(fleet)
        make.sound(fleet, result)
        served, covered, hosts = brute_force(case)
        found = reached(fleet, result, case["weight"])
        assert found[0] == pytest.approx(served)
        assert found[1] <= covered + 1e-9
        aims = {aim.aim: aim for aim in result.aims}
        assert aims["covered"].bound >= covered - 1e-9
        if aims["hosts"].proven:
            assert found == pytest.approx((served, covered, hosts))
        equal.append(found == pytest.approx((served, covered, hosts)))
        assert verify_proof(fleet, result).verdict != "broken"

    check()
    assert mostly(sum(equal), len(equal), 0.9)


def test_a_site_larger_than_any_host_has_standbys_for_its_parts():
    fleet = fleet_of(
        [[10.0, 10.0, 10.0]],
        sites={"clusters": [5]},
        pools={"cluster_cap": [4, 4, 4], "max_hosts": [1, 1, 1]},
        cover="host",
        split_sites=True,
    )
    result = plan(fleet)
    assert [v for v in verify(fleet, result) if v.severity == "violation"] == []
    assert (result.hosts, result.uncovered, result.lower_bound) == (3, (), 3.0)
    assert sum(row.clusters for row in result.assignments) == 5
    assert all(row.standby and row.standby != row.host for row in result.assignments)


def test_parts_on_one_host_with_other_standbys_come_back_from_the_workbook(tmp_path):
    """The plan is read as it was; and a standby that somebody changed is read as changed."""
    fleet = fleet_of(
        [[10.0, 22.0, 23.0], [51.0, 10.0, 12.0]],
        sites={"clusters": [3, 1]},
        pools={"cluster_cap": [4, 3, 2], "max_hosts": [1, 1, 1]},
        hubs=["X", "Y", "Z"],
        cover="host",
        split_sites=True,
    )
    result = plan(fleet)
    on_one_host = [row for row in result.assignments if row.site == "S00"]
    assert len(on_one_host) == 2
    assert {row.host for row in on_one_host} == {"X-01"}
    assert {row.standby for row in on_one_host} == {"Y-01", "Z-01"}
    assert {row.clusters for row in on_one_host} == {1, 2}
    path = tmp_path / "plan.xlsx"
    write_workbook(fleet, result, path)
    assert read_plan(path).assignments == result.assignments
    book = openpyxl.load_workbook(path)
    sheet = book["Assignments"]
    heads = [cell.value for cell in sheet[1]]
    row = next(row for row in sheet.iter_rows(min_row=2) if row[heads.index("standby")].value == "Z-01")
    row[heads.index("standby")].value = "Y-01"
    book.save(path)
    changed = read_plan(path)
    assert [one.standby for one in changed.assignments if one.site == "S00"] == ["Y-01", "Y-01"]
    assert any(v.code == "cover" for v in verify(fleet, changed))


def test_a_site_is_not_split_where_that_saves_nothing():
    rng = np.random.default_rng(3)
    rtt = rng.uniform(5, 60, (40, 5))
    rtt[:, :2] = np.minimum(rtt[:, :2], 40.0)
    clusters = rng.integers(1, 5, 40)
    fleet = fleet_of(
        rtt,
        sites={"clusters": clusters},
        pools={"cluster_cap": [24] * 5, "max_hosts": [6] * 5},
        cover="host",
        split_sites=True,
    )
    result = plan(fleet)
    assert [v for v in verify(fleet, result) if v.severity == "violation"] == []
    assert not result.uncovered
    assert result.lower_bound == result.hosts
    whole = plan(fleet.replace(policy=fleet.policy.replace(split_sites=False)))
    assert result.hosts <= whole.hosts
    rows = len(result.assignments)
    assert rows <= 40 + 2 * result.hosts
