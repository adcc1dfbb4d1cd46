"""Small random fleets: the fewest sites whose budgets must rise to save a host, against trying every set of sites."""

import itertools

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planner.explain.changes import changed
from planner.explain.opening import OpeningModel
from planner.explain.openings import openings_that_save
from planner.sizing import plan
from tests.arrays import fewest_bins
from tests.how_many import tries

BUDGET, REACH = 50.0, 75.0  # half the budget more is within reach


def fewest_hosts(allowed, clusters, caps, most):
    """Fewest hosts that carry every site, inf where none do."""
    best = float("inf")
    for choice in itertools.product(*allowed):
        bins = [
            fewest_bins(tuple(sorted(k for k, where in zip(clusters, choice, strict=True) if where == p)), cap)
            for p, cap in enumerate(caps)
        ]
        if all(b <= limit for b, limit in zip(bins, most, strict=True)):
            best = min(best, sum(bins))
    return best


def fewest_raised(case, served, target):
    """Fewest of the served sites that need a larger budget for ``target`` hosts to do; None where all do not help."""
    rtt = case["rtt"]

    def allowed(s, budget):
        fits = [p for p in range(rtt.shape[1]) if case["clusters"][s] <= case["cap"][p]]
        return [p for p in fits if rtt[s, p] <= budget]

    clusters = [case["clusters"][s] for s in served]
    for number in range(len(served) + 1):
        for raised in itertools.combinations(served, number):
            options = [allowed(s, REACH if s in raised else BUDGET) for s in served]
            if fewest_hosts(options, clusters, case["cap"], case["most"]) <= target:
                return number
    return None


@st.composite
def cases(draw):
    count, width = draw(st.integers(2, 6)), draw(st.integers(2, 3))
    each = st.sampled_from([10.0, 50.0, 50.5, 60.0, 75.0, 75.5])
    return {
        "rtt": np.array(draw(st.lists(each, min_size=count * width, max_size=count * width))).reshape(count, width),
        "clusters": draw(st.lists(st.sampled_from([1, 1, 2, 3]), min_size=count, max_size=count)),
        "cap": draw(st.lists(st.integers(2, 7), min_size=width, max_size=width)),
        "most": draw(st.lists(st.integers(1, 3), min_size=width, max_size=width)),
    }


@settings(max_examples=tries(8), deadline=None)
@given(cases())
def test_the_fewest_sites_are_found_and_their_plan_saves_a_host(make, case):
    fleet = make.fleet(
        case["rtt"],
        sites={"clusters": case["clusters"]},
        pools={"cluster_cap": case["cap"], "max_hosts": case["most"]},
        then="",
    )
    bench = make.bench(fleet)
    served = [s for s, site in enumerate(fleet.site_ids) if site not in bench.before.unserved]
    assume(len(served) == bench.problem.sites > 0)  # nobody is left out for want of room
    fewest = fewest_raised(case, served, bench.before.hosts - 1)
    found = [s for s in openings_that_save(bench) if s.kind == "latency_budget"]
    assert fewest != 0
    assert bool(found) == (fewest is not None)
    for one in found:
        assert one.confirmed
        assert plan(changed(fleet, one.changes)).hosts == one.after.hosts < bench.before.hosts
        assert len(one.sites) >= fewest
    if found:
        assert found[0].fewest
        assert len(found[0].sites) == fewest


def test_kept_together_sites_that_do_not_pack_are_not_taken_for_a_saving(make, monkeypatch):
    # 5, 3, 3, 3, 3 and 3 are 20 clusters, but two hosts of 10 do not hold them: 5 + 3 and 3 + 3 + 3 leave one out.
    # A host of 12 at H1 takes 5 + 3 + 3.
    case = {
        "rtt": np.array([[10.0, 60.0]] * 6),
        "clusters": [5, 3, 3, 3, 3, 3],
        "cap": [10, 12],
        "most": [3, 3],
    }
    refused = []
    rule_out = OpeningModel.rule_out
    monkeypatch.setattr(OpeningModel, "rule_out", lambda self, opened: (refused.append(1), rule_out(self, opened)))
    fleet = make.fleet(case["rtt"], sites={"clusters": case["clusters"]}, pools={"cluster_cap": case["cap"]})
    bench = make.bench(fleet)
    assert bench.before.hosts == 3
    found = [s for s in openings_that_save(bench) if s.kind == "latency_budget"]
    assert refused
    assert found[0].confirmed
    assert len(found[0].sites) == fewest_raised(case, range(6), 2) == 3
