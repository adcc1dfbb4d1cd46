"""Cover on small random fleets: the plan equals the best of all plans, found by trying every one of them.

Everything is tried on single hosts: who lives where, and who could stand by, loss by loss.
"""

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.sizing import plan


def losses(case, hosts):
    """Return, for each loss, the positions in ``hosts`` (their pools) that it takes down."""
    if case["cover"] == "host":
        return [{j} for j in range(len(hosts))]
    hubs = [{j for j, p in enumerate(hosts) if case["hub"][p] == hub} for hub in set(case["hub"])]
    if case["cover"] == "hub":
        return hubs
    zones = set(itertools.chain.from_iterable(case["zone"]))
    touched = {z: {case["hub"][p] for p in range(len(case["hub"])) if z in case["zone"][p]} for z in zones}
    return [*hubs, *({j for j, p in enumerate(hosts) if case["hub"][p] in touched[z]} for z in zones)]


def standbys_of(case, hosts, hit, s, j):
    """The hosts that may stand by for a site at home on host ``j``, and None; ``hit`` are the losses."""
    mine = [loss for loss in hit if j in loss]
    near = [h for h, q in enumerate(hosts) if h != j and case["rtt"][s, q] <= case.get("far", 50)]
    return [None, *(h for h in near if all(h not in m for m in mine))]


def most_covered(case, hosts, homes) -> float:
    """Return the most weight of sites that can have a standby at once; ``homes`` maps site to position in ``hosts``."""
    load = [0] * len(hosts)
    for s, j in homes.items():
        load[j] += case["clusters"][s]
    hit = losses(case, hosts)
    options = [standbys_of(case, hosts, hit, s, j) for s, j in homes.items()]
    best = 0.0
    for choice in itertools.product(*options):
        weight = sum(case["weight"][s] for s, h in zip(homes, choice, strict=True) if h is not None)
        if weight <= best:
            continue
        fine = True
        for loss in hit:
            arriving = [0] * len(hosts)
            for (s, j), h in zip(homes.items(), choice, strict=True):
                if h is not None and j in loss:
                    arriving[h] += case["clusters"][s]
            fine = fine and all(load[h] + more <= case["cap"][hosts[h]] for h, more in enumerate(arriving) if more)
        best = weight if fine else best
    return best


def brute_force(case) -> tuple[float, float, float, float]:
    """Return the best in order: most weight served of sites to be kept, and of all, most covered, fewest hosts."""
    count = len(case["rtt"])
    best = (-1.0, -1.0, -1.0, -99.0)
    for numbers in itertools.product(*(range(most + 1) for most in case["most"])):
        hosts = [p for p, number in enumerate(numbers) for _ in range(number)]
        options = [[*(j for j, p in enumerate(hosts) if case["rtt"][s, p] <= 50), None] for s in range(count)]
        for choice in itertools.product(*options):
            load = [0] * len(hosts)
            for s, j in enumerate(choice):
                if j is not None:
                    load[j] += case["clusters"][s]
            if any(load[j] > min(case["cap"][p], case["radius"]) for j, p in enumerate(hosts)):
                continue
            served = sum(case["weight"][s] for s, j in enumerate(choice) if j is not None)
            kept = sum(case["weight"][s] for s, j in enumerate(choice) if j is not None and case["kept"][s])
            if (kept, served, served, -len(hosts)) <= best:
                continue
            homes = {s: j for s, j in enumerate(choice) if j is not None}
            best = max(best, (kept, served, most_covered(case, hosts, homes), -len(hosts)))
    return *best[:3], -best[3]


@st.composite
def cases(draw, cover: str, *, together: bool):
    count, width = draw(st.integers(1, 4)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    rtt = np.array(each(count * width, st.sampled_from([10.0, 10.0, 50.0, 51.0]))).reshape(count, width)
    return {
        "cover": cover,
        "rtt": rtt,
        "clusters": each(count, st.integers(1, 3) if together else st.just(1)),
        "weight": each(count, st.sampled_from([1.0, 1.0, 2.5])),
        "cap": each(width, st.integers(1, 4)),
        "radius": draw(st.sampled_from([99, 99, 2, 3])),
        "most": each(width, st.integers(0, 2)),
        "hub": each(width, st.sampled_from(["A", "B", "C"])),
        "zone": each(width, st.sampled_from([(), ("x",), ("y",), ("x", "y")])),
        "kept": each(count, st.booleans()),
    }


def as_fleet(make, case):
    # Pools at one hub share its round-trip times.
    for p, hub in enumerate(case["hub"]):
        case["rtt"][:, p] = case["rtt"][:, case["hub"].index(hub)]
    hubs = list(dict.fromkeys(case["hub"]))
    fleet = make.fleet(
        case["rtt"][:, [case["hub"].index(hub) for hub in hubs]],
        sites={"clusters": case["clusters"], "weight": case["weight"]},
        hubs=hubs,
        current={"site": [f"S{s:02d}" for s in np.flatnonzero(case["kept"])], "hub": hubs[:1] * sum(case["kept"])},
        keep_served=any(case["kept"]),
        cover=case["cover"],
        max_blast_radius=case["radius"],
    )
    table = {
        "hub": case["hub"],
        "pool": [f"P{p}" for p in range(len(case["hub"]))],
        "cluster_cap": case["cap"],
        "max_hosts": case["most"],
        "zone": case["zone"],
    }
    return fleet.replace(pools=make.pools(table))


def equal_to_brute_force(make, case):
    """Return the plan of a case after comparing it with the best of all plans."""
    fleet = as_fleet(make, case)
    result = plan(fleet)
    make.sound(fleet, result)
    best = brute_force(case)
    assert make.covered(fleet, result, case["weight"]) == pytest.approx(best[1:])
    assert [(aim.value, aim.bound, aim.proven) for aim in result.before] == [
        (pytest.approx(weight), pytest.approx(weight), True) for weight in best[0 if any(case["kept"]) else 1 : 3]
    ]
    assert result.lower_bound == result.hosts
    return result


@pytest.mark.parametrize("together", [False, True], ids=["single", "kept_together"])
@pytest.mark.parametrize("cover", ["host", "hub", "zone"])
def test_plan_with_cover_is_the_best_of_all_plans(make, cover, together, examples):
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(cover, together=together))
    def check(case):
        result = equal_to_brute_force(make, case)
        assert result.status == "optimal"

    check()
