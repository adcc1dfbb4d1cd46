"""`castingvote explain`: what it prints, as text and as JSON, and what it answers to its caller."""

import json
import signal
import time

import pytest


def test_the_near_miss_is_told_with_its_plan_and_the_caution(call, twelve_sites):
    done = call("explain", twelve_sites)
    assert (done.code, done.err) == (0, "")
    claim = "4 tie-breaker hosts at 3 hubs serve 11 of 11 sites. Proven: fewer hosts cannot serve these sites."
    assert done.out.splitlines()[0] == claim
    assert "can use only pool ALDER: a host holds at most 4 of these clusters, so they need two hosts." in done.out
    first = next(line for line in done.out.splitlines() if "->" in line)
    assert first.startswith("4 -> 3")
    assert "M05 by 0.4 ms" in first
    assert "Caution: verify the latency on site." in done.out


def test_one_site_is_told_pool_by_pool(call, twelve_sites):
    done = call("explain", twelve_sites, "--site", "M10")
    assert done.code == 0
    rows = {line.split()[0]: line for line in done.out.splitlines() if line and line.split()[0] in ("ALDER", "BIRCH")}
    assert "latency: best RTT 28.0 ms" in rows["ALDER"]
    assert "host_release" in rows["BIRCH"]
    assert "Served by CEDAR-01" in done.out


def test_an_unknown_site_ends_in_2_and_names_similar_ones(call, twelve_sites):
    done = call("explain", twelve_sites, "--site", "M13")
    assert (done.code, done.out) == (2, "")
    assert 'no site "M13"' in done.err
    assert "M12" in done.err


@pytest.mark.parametrize("site", [(), ("--site", "M05")])
def test_json_is_alone_on_standard_output_though_the_solver_prints_below_python(call, twelve_sites, site):
    done = call("explain", twelve_sites, "--json", "-", *site)
    assert (done.code, done.err) == (0, "")
    data = json.loads(done.out)
    assert data["headline"].startswith("4 tie-breaker hosts at 3 hubs")
    assert data["figures"]["hosts"] == 4
    assert bool(data["suggestions"]) != bool(site)


def test_unserved_sites_are_told_with_a_remedy_that_a_plan_confirms(call, fleets):
    done = call("explain", fleets.unserved())
    assert done.code == 0
    assert "- 0002: latency: best RTT 61.2 ms" in done.out
    assert "1 -> 0" in done.out
    assert "raise its latency budget by 41.2 ms, from 20 to 61.2 ms" in done.out


def test_no_time_still_gives_an_answer(call, twelve_sites):
    done = call("explain", twelve_sites, "--time-limit", "0")
    assert done.code == 0
    assert "Note: Time ended" in done.out


def test_ctrl_c_tells_what_was_found_so_far(terminal, bare, fleets):
    shell = terminal("explain", fleets.slow_to_solve(), "--time-limit", "600", all_output=True)
    shell.read(until="the plan itself")
    time.sleep(0.5)  # so that the signal meets the solver and not the lines before it
    shell.interrupt(signal.SIGINT)
    assert shell.end() == 0
    shown = bare(shell.seen)
    assert "Not proven" in shown
    assert "Time ended" in shown
    assert "Traceback" not in shown
