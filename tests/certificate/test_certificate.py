"""Certificates of plans: accepted as written, refused when changed, and as strict in form as the format asks."""

import dataclasses
import random

import pytest

import planner
from planner import columns
from planner.certificate import certify_plan
from planner.errors import InputError
from planner.verify.certificate import check_lines, verify_certificate
from tests.arrays import fleet_of as fleet_from_arrays
from tests.certificate.mutations import mutated
from tests.certificate.trial import USUAL, fleet_of, trial
from tests.how_many import ALL_SAMPLES, EXAMPLES, MORE, tries

COUNT = EXAMPLES if MORE else tries(8)


def made(fleet):
    plan = planner.plan(fleet)
    return plan, tuple("".join(certify_plan(fleet, plan).text()).splitlines())


@pytest.fixture(scope="module")
def twelve():
    fleet = planner.read_fleet("sample_fleets/twelve_sites.xlsx")
    return fleet, *made(fleet)


@pytest.mark.parametrize("seed", range(COUNT))
def test_certificates_of_random_fleets_hold_and_no_changed_one_does(seed):
    try:
        fleet = fleet_of(seed)
    except InputError:
        pytest.skip("no fleet")
    one = trial(seed, fleet)
    assert not one.wrong
    assert check_lines(one.lines) == ""
    for kind, lines in mutated(one.lines, random.Random(seed), 4):
        assert verify_certificate(fleet, lines).verdict == "broken", kind


@pytest.mark.parametrize("name", ["twelve_sites", *(["county_chain"] if ALL_SAMPLES else [])])
def test_the_certificates_of_proven_samples_prove_as_much(name):
    fleet = planner.read_fleet(f"sample_fleets/{name}.xlsx")
    one = trial(0, fleet)
    assert not one.wrong
    assert one.proven == one.value


def test_it_is_written_as_the_strictest_reader_wants_it(twelve):
    _, _, lines = twelve
    comments = [line for line in lines if line.startswith("%")]
    assert all(line.startswith("% ") for line in comments)
    assert lines[: len(comments)] == tuple(comments)
    rest = lines[len(comments) :]
    assert rest[0] == "VER 1.0"
    words = " ".join(rest).split()
    assert [word for word in words if word in ("VAR", "INT", "CON", "RTP", "SOL", "DER")] == [
        *("VAR", "INT", "CON", "RTP", "SOL", "DER")
    ]
    assert not any("." in word for word in words[2:])
    names = [line.split()[0] for line in rest if len(line.split()) > 4 and line.split()[1] in "LEG"]
    assert len(set(names)) == len(names)
    assert rest[-1].endswith("} -1")
    assert "\n".join(lines).isascii()


def test_a_sum_of_halves_is_rounded_up():
    # Three pairs of hubs, each reached by two sites: halves of hosts add up to 3/2, whole ones to 2.
    rtt = [[10, 10, None], [10, 10, None], [None, 10, 10], [None, 10, 10], [10, None, 10], [10, None, 10]]
    fleet = fleet_from_arrays(rtt, pools={"max_hosts": [3, 3, 3]}, cluster_cap=4)
    plan, lines = made(fleet)
    assert plan.hosts == plan.lower_bound == 2
    assert "RTP range 2 2" in lines
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


def test_a_split_closes_what_multipliers_leave_open():
    # Three sites, three hubs, each site reaches two: sums give 3/2 hosts at price 3, money cannot be rounded so far up.
    rtt = [[10, 10, None], [None, 10, 10], [10, None, 10]]
    prices = {"host_cost": [7, 7.01, 7.02], "max_hosts": [1, 1, 1]}
    fleet = fleet_from_arrays(rtt, pools=prices, cluster_cap=64, objective="cost")
    plan, lines = made(fleet)
    assert any("{ uns " in line for line in lines)
    assert "RTP range 1401/100 1401/100" in lines
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


def test_a_certificate_is_about_its_fleet(twelve):
    fleet, plan, lines = twelve
    another = fleet.replace(pools=fleet.pools.assign(max_hosts=9.0))
    checked = verify_certificate(another, lines)
    assert checked.verdict == "broken"
    assert [violation.code for violation in checked.violations] == ["certificate_program"]
    dearer = fleet.replace(policy=fleet.policy.replace(objective="new_hosts"))
    assert verify_certificate(dearer, lines).violations[0].code == "certificate_scope"
    fewer = plan.replace(host_list=plan.host_list[:-1])
    assert verify_certificate(fleet, lines, fewer).violations[0].code == "certificate_plan"


def test_the_road_from_python(twelve, tmp_path):
    fleet, plan, lines = twelve
    written = planner.write_certificate(fleet, plan, tmp_path / "plan.vipr", seconds=30)
    assert (written.bound, written.value) == (4, 4)
    with (tmp_path / "plan.vipr").open(encoding="ascii") as file:
        assert planner.verify_certificate(fleet, file, plan).verdict == "holds"
    assert (tmp_path / "plan.vipr").read_text(encoding="ascii").splitlines() == list(lines)


def test_it_tells_what_it_leaves_out():
    fleet = fleet_from_arrays([[10, 10], [10, None], [90, 90]])
    plan, lines = made(fleet)
    checked = verify_certificate(fleet, lines, plan)
    assert checked.words.endswith("Sites that stay unserved, as in the plan: 1 site (S02).")
    assert '% left_out ["S02"]' in lines


def test_a_fleet_without_sites_to_serve_has_a_certificate_too():
    fleet = fleet_from_arrays([[90, 90]])
    plan, lines = made(fleet)
    assert "RTP range 0 0" in lines
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


def test_a_plan_that_breaks_a_rule_has_no_certificate(twelve):
    fleet, plan, _ = twelve
    with pytest.raises(InputError, match="No certificate was written"):
        certify_plan(fleet, plan.replace(host_list=plan.host_list[:-1]))


def test_names_that_hold_anything_are_written_plainly():
    fleet = fleet_from_arrays([[10, 10]], hubs=["Zürich % VER", 'a "b"\tc'])
    sites = fleet.sites.assign(site=["Ω 1\\n"])
    latency = fleet.latency.assign(site=["Ω 1\\n"] * 2)
    fleet = fleet.replace(sites=sites, latency=latency)
    plan, lines = made(fleet)
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


@pytest.mark.parametrize(
    "comment",
    ['% objective "hosts"', "% class 1 [", "% cover 3", "% left_out {}", '% left_out ["M01", "M01"]', "% pool 7 1"],
)
def test_comments_that_are_none_of_ours_are_refused(twelve, comment):
    fleet, _, lines = twelve
    start = comment.split("[")[0].split("{")[0].rsplit(" ", 1)[0]
    kept = [line for line in lines if not line.startswith(start) or comment.startswith("% objective")]
    assert verify_certificate(fleet, [comment, *kept]).verdict == "broken"


def test_every_column_of_limits_can_be_in_it():
    assert {"uplink_mbps"} <= set(columns.HUBS.names)
    fleet = fleet_from_arrays(
        [[10, 10]] * 6, pools={"uplink_mbps": [0.3, None], "max_hosts": [2, 2]}, tie_breaker_kbps=100, cluster_cap=3
    )
    plan, lines = made(fleet)
    assert any(line.startswith("limit_1 L 3000003/10000") for line in lines)
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


def test_racks_that_several_pools_share_are_rows_of_it():
    """Six sites; the rack of hub A has room for one host of two units or two of one, which carry less."""
    pools = {"hub": ["A", "A", "B"], "pool": ["A1", "A2", "B1"], "cluster_cap": [3, 1, 2], "max_hosts": [2, 2, 2]}
    pools |= {"host_rack_units": [2, 1, 1], "rack_units": [3, None, None]}
    fleet = fleet_from_arrays([[10, 10]] * 6, hubs=["A", "B"], pools=pools)
    plan, lines = made(fleet)
    assert plan.hosts == 3
    assert any(line.startswith("together_1 L 3 2") for line in lines)
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


def test_what_the_loss_of_a_host_takes_is_proven_too():
    # Each site reaches one hub only, so that each hub needs two hosts: one of them may be lost.
    fleet = fleet_from_arrays([[10, None], [None, 10]], cover="host")
    plan, lines = made(fleet)
    assert plan.hosts == 4
    assert "RTP range 4 4" in lines
    assert verify_certificate(fleet, lines, plan).verdict == "holds"
    at = next(at for at, line in enumerate(lines) if line.startswith("% one_lost 1 "))
    for told in (
        "[1, []]",
        "[0, [1]]",
        "[2, [1]]",
        "[1, [1, 1]]",
    ):
        changed = [*lines[:at], f"% one_lost 1 {told}", *lines[at + 1 :]]
        assert verify_certificate(fleet, changed).verdict == "broken"


def test_the_loss_of_a_host_says_nothing_of_sites_without_standby():
    fleet = fleet_from_arrays([[10, None], [None, 10]], pools={"max_hosts": [1, 2]}, cover="host")
    plan, lines = made(fleet)
    assert [entry.site for entry in plan.uncovered] == ["S00"]
    assert plan.hosts == 3
    checked = verify_certificate(fleet, lines, plan)
    assert checked.verdict == "holds"
    assert (
        "The certificate holds. The plan in it needs 3 hosts. Proven: no plan that serves and covers "
        "the same sites needs fewer than 3 hosts. Sites without standby: 1 site (S00)." in checked.words
    )
    at = next(at for at, line in enumerate(lines) if line.startswith("% one_lost 1 "))
    changed = [*lines[:at], "% one_lost 1 [1, [1]]", *lines[at + 1 :]]
    assert verify_certificate(fleet, changed).verdict == "broken"


def test_the_loss_of_a_hub_is_told_by_homes_and_standbys():
    # Six sites of one cluster, two hubs, hosts of three: without cover 2 hosts, but either hub has to carry all.
    fleet = fleet_from_arrays([[10, 10]] * 6, cover="hub", cluster_cap=3)
    plan, lines = made(fleet)
    assert plan.hosts == 4
    assert "RTP range 4 4" in lines
    assert verify_certificate(fleet, lines, plan).verdict == "holds"


@pytest.mark.parametrize("seed", [72, 166, 1132])
def test_splits_of_flows_and_own_tie_breakers_close_what_plans_leave_to_the_solver(seed):
    # A limit from a split took away from the multiplier of a class, so that no split of its flows raised the bound;
    # and halves without any point had no bound at all.
    one = trial(seed, fleet_of(seed, dataclasses.replace(USUAL, never=("looser",))))
    assert one.kind == "solver"
    assert one.reaches
