"""The scheduling model on published instances: exact where small, and bound <= optimum <= list schedule always."""

import networkx as nx
import pytest

from planner.rollout.bounds import lower_bound
from planner.rollout.improve import Effort
from planner.rollout.night_kinds import NightKinds
from planner.rollout.night_program import Fewest
from planner.rollout.nights import Opening
from planner.rollout.project import Job, Project
from planner.rollout.scheduler import schedule_exactly
from planner.rollout.search import schedule
from planner.rollout.sheet import Sheet


def scheduled(project):
    """Return the schedule of the local search."""
    return schedule(NightKinds(Sheet(project)), Fewest(0), 0, Effort(4_000, lambda waves: True))


def bounded(project, names):
    """Return the fewest waves that the bound allows."""
    return lower_bound(NightKinds(Sheet(project)), names).waves


def days(minutes):
    """Openings of ``minutes`` each night, a day apart."""
    return lambda night: (Opening(night, night * 1440, night * 1440 + minutes),)


def one_night(jobs, capacity, horizon=1000):
    """A project of one long night: what is left to minimise is the finish, so it is an RCPSP."""
    opened = (Opening(0, 0, horizon),)
    made = tuple(
        Job(minutes, lambda _: opened, needs=tuple(needs), uses=tuple((r, n) for r, n in uses.items() if n))
        for minutes, needs, uses in jobs
    )
    return Project(made, range(1), capacity)


def colouring(graph):
    nodes = sorted(graph)
    at = {node: i for i, node in enumerate(nodes)}
    opened = days(60)
    jobs = tuple(Job(60, opened, apart=tuple((at[m], 1) for m in graph[n] if at[m] < at[n])) for n in nodes)
    return Project(jobs, range(8))


def solved(project):
    """Check the list schedule against the exact one, and return the latter."""
    greedy = scheduled(project)
    exact = schedule_exactly(project, project.nights, greedy, 20, None)
    bound = bounded(project, [str(i) for i in range(len(project.jobs))])
    assert None not in greedy.night
    assert bound <= exact.waves == exact.timetable.waves <= greedy.waves
    assert not greedy.better(exact.timetable, project.jobs)
    return exact.timetable


def successors(rows):
    """Turn (duration, uses, successors) with 1-based successors into jobs with needs."""
    return [
        (d, [i for i, (_, _, later) in enumerate(rows) if at + 1 in later], uses)
        for at, (d, uses, _) in enumerate(rows)
    ]


def use(*amounts):
    return {f"R{i}": amount for i, amount in enumerate(amounts)}


PAT2 = successors(
    [
        (0, use(0, 0, 0), (2, 3)),
        (1, use(2, 2, 1), (4, 5)),
        (2, use(0, 2, 1), (6,)),
        (2, use(3, 3, 3), (7,)),
        (3, use(2, 1, 3), (6,)),
        (2, use(1, 1, 0), (7,)),
        (0, use(0, 0, 0), ()),
    ]
)


@pytest.mark.parametrize(("capacity", "length"), [(use(5, 5, 3), 7), (use(99, 99, 99), 6)])
def test_patterson_pat2(capacity, length):
    """J. H. Patterson, Management Science 30 (1984) 854-867; optimum 7 in the list of kobe-scheduling, 6 unlimited.

    The dummy jobs of length 0 are left out.
    """
    real = [(d, [n - 1 for n in needs if n], uses) for d, needs, uses in PAT2[1:-1]]
    project = one_night(real, capacity)
    assert solved(project).finish(project.jobs) == length


FT06_MACHINES = [
    [3, 1, 2, 4, 6, 5],
    [2, 3, 5, 6, 1, 4],
    [3, 4, 6, 1, 2, 5],
    [2, 1, 3, 4, 5, 6],
    [3, 2, 5, 6, 1, 4],
    [2, 4, 6, 1, 5, 3],
]
FT06_TIMES = [
    [3, 6, 1, 7, 6, 3],
    [10, 8, 5, 4, 10, 10],
    [9, 1, 5, 4, 7, 8],
    [5, 5, 5, 3, 8, 9],
    [3, 3, 9, 1, 5, 4],
    [10, 3, 1, 3, 4, 9],
]


def test_fisher_and_thompson_ft06():
    """H. Fisher, G. L. Thompson, in Muth and Thompson, Industrial Scheduling (1963): optimum 55."""
    jobs = []
    for order, times in zip(FT06_MACHINES, FT06_TIMES, strict=True):
        for step, machine in enumerate(order):
            jobs.append((times[machine - 1], [len(jobs) - 1] if step else [], {f"machine {machine}": 1}))
    project = one_night(jobs, {f"machine {m}": 1 for m in range(1, 7)})
    assert solved(project).finish(project.jobs) == 55


HOUSE = {"A": (3, ""), "B": (4, "A"), "C": (3, "B"), "D": (10, "B"), "E": (8, "D"), "F": (4, "D"), "G": (6, "D"),
         "H": (8, "CEFG"), "I": (5, "H"), "J": (5, "H"), "K": (4, "I"), "L": (2, "J"), "M": (4, "KL")}  # fmt: skip


# H. Hillier, G. Lieberman, Introduction to Operations Research, Reliable Construction Co.: 44 weeks.
CONSTRUCTION = {"A": (2, ""), "B": (4, "A"), "C": (10, "B"), "D": (6, "C"), "E": (4, "C"), "F": (5, "E"), "G": (7, "D"),
                "H": (9, "EG"), "I": (7, "C"), "J": (8, "FI"), "K": (4, "J"), "L": (5, "J"), "M": (2, "H"),
                "N": (6, "KL")}  # fmt: skip


def network(activities):
    at = {name: i for i, name in enumerate(activities)}
    return one_night([(d, [at[n] for n in needs], {}) for d, needs in activities.values()], {})


@pytest.mark.parametrize(
    ("activities", "length", "critical"), [(HOUSE, 46, "ABDEHIKM"), (CONSTRUCTION, 44, "ABCEFJLN")]
)
def test_critical_paths(activities, length, critical):
    """GLPK 5.0, example cpp, and Hillier and Lieberman. Every start is the earliest, since nothing else limits.

    An activity is critical when the project takes a day longer as soon as it does.
    """
    project = network(activities)
    assert solved(project).finish(project.jobs) == scheduled(project).finish(project.jobs) == length
    longer = {}
    for name, (duration, needs) in activities.items():
        slow = network({**activities, name: (duration + 1, needs)})
        longer[name] = scheduled(slow).finish(slow.jobs) - length
    assert longer == {name: int(name in critical) for name in activities}


MYCIEL3 = "1-2 1-4 1-7 1-9 2-3 2-6 2-8 3-5 3-7 3-10 4-5 4-6 4-10 5-8 5-9 6-11 7-11 8-11 9-11 10-11"


def test_colouring_myciel3():
    """DIMACS colouring set: chromatic number 4 though the largest clique has 2, so that the clique bound says 2."""
    graph = nx.Graph(tuple(map(int, edge.split("-"))) for edge in MYCIEL3.split())
    project = colouring(graph)
    assert solved(project).waves == 4
    assert bounded(project, list(map(str, graph))) == 2
    # R. L. Brooks, Proc. Cambridge Phil. Soc. 37 (1941) 194-197, and greedy: at most the largest degree plus one
    assert scheduled(project).waves <= max(d for _, d in graph.degree) + 1


@pytest.mark.parametrize(
    ("graph", "colours"), [(nx.cycle_graph(5), 3), (nx.petersen_graph(), 3), (nx.complete_graph(5), 5)]
)
def test_colouring_of_well_known_graphs(graph, colours):
    """Textbook facts: an odd cycle and the Petersen graph need 3 colours, a complete graph one for each vertex."""
    project = colouring(graph)
    assert solved(project).waves == colours
    assert colours == 3 or bounded(project, list(map(str, graph))) == colours


def test_dressing_levels():
    """T. H. Cormen and others, Introduction to Algorithms, topological sort: 4 levels; a circle is refused."""
    after = {"pants": ["undershorts"], "shoes": ["undershorts", "pants", "socks"], "belt": ["pants", "shirt"],
             "jacket": ["belt", "tie"], "tie": ["shirt"],
             "undershorts": [], "socks": [], "shirt": [], "watch": []}  # fmt: skip
    at = {name: i for i, name in enumerate(after)}
    opened = days(60)
    project = Project(tuple(Job(60, opened, earlier=tuple(at[n] for n in need)) for need in after.values()), range(6))
    assert solved(project).waves == bounded(project, list(after)) == 4
    circle = Project((Job(60, opened, needs=(1,)), Job(60, opened, needs=(0,))), range(6))
    with pytest.raises(ValueError, match="circle"):
        scheduled(circle)
