"""The integer program of a fleet: hosts of pools, and where the sites of each class go.

    n_p    whole: hosts that run in pool p                 x_cp   units of class c with their home in pool p
    a_p    hosts to add, where these are the objective     y_cpq  the same, with their standby in pool q
    s_p    clusters of room that pool p keeps free         o_c    sites of class c with a tie-breaker of their own

    minimise   the objective: hosts, hosts to add, or money
    (1)  sum x_c + sum y_c + u_c o_c = units of class c                   for each class: all are served
    (2)  sum k_c x_cp + sum k_c y_cp  <=  C_p n_p                          room of each pool
    (3)  sum k_c x_cp + sum k_c y_cp + s_p  <=  R_p n_p                    the same while a loss lasts
    (4)  sum over p hit by l of k_c y_cpq  <=  s_q                         for each loss l and pool q that it spares
    (5)  sites of t or more clusters at p  <=  floor(C_p / t) n_p          where t does not divide C_p
    (6)  what sites bring to a hub or zone  <=  its limit                  clusters, weight, traffic
    (7)  weight at p  <=  the most on a host n_p                           where weight counts on hosts
    (7a) sum u_ip n_p  <=  what hosts of several pools may take           for each limit i that could stop one of them
    (8)  a_p >= n_p - hosts that exist
    (9)  sum of ceil(R_p / d) n_p  >=  ceil(clusters / d) + the least ceil(R_p / d)
                                                                          of some classes, over the pools that they may
                                                                          use, where the loss of a host is covered
    (10) n_p <= hosts that fit

A unit is a site of k_c clusters, or one cluster where sites may be split (then u_c are the clusters of a site). Every
plan gives a point of this program with the same objective, so that what holds for all points holds for all plans. It
counts pools and not single hosts: that sites stay together on a host is known to it by (5) alone, and that one host may
be lost by (9) alone: some host runs that these classes may use, and without it the others have to carry them. Rows of
(6) and (7) that all sites together keep are left out; of (9) only those are there that are asked for.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from planner.certificate.certificate_parts import Block, Flow, Number, Program, Row, Scope, SiteClass
from planner.certificate.one_lost import reach, sets_to_cover
from planner.certificate.pools import Limit, Pools, most_weight, read_limits, read_pools
from planner.certificate.sites import amount, read_classes, weight_on_host
from planner.fleet import Fleet

_MOST_FLOWS = 150_000  # ways of classes to a home and a standby; each is a variable, and in many lines of the proof


@dataclass
class _Terms:
    """The left side of a row as it grows: variables, coefficients."""

    at: list[int] = field(default_factory=list)
    by: list[Number] = field(default_factory=list)

    def take(self, variable: int, coefficient: Number) -> None:
        if coefficient:
            self.at.append(variable)
            self.by.append(coefficient)

    def at_most(self, name: str, most: Number, *last: tuple[int, Number]) -> Row:
        """Return the row with further terms, those of ``last``."""
        whole = _Terms([*self.at], [*self.by])
        for variable, coefficient in last:
            whole.take(variable, coefficient)
        return Row(name, "L", most, whole.at, whole.by)


def build_program(fleet: Fleet, scope: Scope, one_lost: Sequence[Sequence[str]] = ()) -> Program:
    """Return the program of the plans of ``scope``; without standbys where there are too many ways to stand by.

    ``one_lost`` are sets of sites for which (9) is asked. Raises InputError where the objective is money and the price
    of a host is not known.
    """
    pools = read_pools(fleet)
    limits = read_limits(fleet, pools)
    classes = read_classes(fleet, pools, limits, scope)
    if scope.standbys and sum(len(kind.homes) * len(kind.standbys) for kind in classes) > _MOST_FLOWS:
        return build_program(fleet, dataclasses.replace(scope, cover="none", bare=()))
    program = _variables(pools, classes, scope, split=fleet.policy.split_sites)
    _demand(program)
    _room(program, pools, scope)
    if scope.standbys:
        _ready(program, pools)
    _sizes(program, pools)
    _limits(program, limits)
    most = most_weight(fleet, fleet.policy.max_share_percent) if weight_on_host(fleet) else None
    if most is not None:
        _weight(program, most)
    _together(program, fleet, pools)
    if scope.objective == "new_hosts":
        _added(program, pools)
    if scope.cover == "host":
        for chosen in sets_to_cover(program, one_lost):
            _one_lost(program, pools, chosen)
    return program


def _variables(pools: Pools, classes: list[SiteClass], scope: Scope, *, split: bool) -> Program:
    """Return the program without rows: hosts first, then each class."""
    count = len(pools.ids)
    by_added = scope.objective == "new_hosts"
    names = [f"n{p}" for p in range(1, count + 1)]
    names += [f"a{p}" for p in range(1, count + 1)] if by_added else []
    names += [f"s{p}" for p in range(1, count + 1)] if scope.standbys else []
    objective: dict[int, Number] = {
        (count + p if by_added else p): price for p, price in enumerate(pools.price) if price
    }
    of_class = [-1] * len(names)
    blocks: list[Block] = []
    known: dict[tuple[tuple[int, ...], tuple[int, ...], bool], tuple[Flow, ...]] = {}
    for c, kind in enumerate(classes):
        key = kind.homes, kind.standbys, kind.covered
        flows = known.get(key) or known.setdefault(key, _flows(pools, kind, standbys=scope.standbys))
        start, unit = len(names), kind.clusters if split else 1
        names += [_name(c, flow) for flow in flows]
        for j, price in enumerate(_prices(kind, flows), start=start):
            objective[j] = price
        own = None if kind.own is None else len(names)
        if own is not None:
            names.append(f"o{c + 1}")
            if kind.own:
                objective[own] = kind.own
        of_class += [c] * (len(names) - len(of_class))
        blocks.append(Block(start, flows, own, unit, kind.clusters // unit))
    objective = {j: price for j, price in objective.items() if price}
    group = [next((at for at, loss in enumerate(pools.losses) if p in loss), -1) for p in range(count)]
    return Program(list(pools.ids), classes, scope, names, of_class, blocks, objective, list(pools.most), group=group)


def _flows(pools: Pools, kind: SiteClass, *, standbys: bool) -> tuple[Flow, ...]:
    if not (kind.covered and standbys):
        return tuple(Flow(p, None) for p in kind.homes)
    return tuple(Flow(p, q) for p in kind.homes for q in kind.standbys if pools.apart(p, q))


def _name(c: int, flow: Flow) -> str:
    if flow.standby is None:
        return f"x{c + 1}_{flow.home + 1}"
    return f"y{c + 1}_{flow.home + 1}_{flow.standby + 1}"


def _prices(kind: SiteClass, flows: Sequence[Flow]) -> list[Number]:
    """Return what the circuits of a unit on each flow cost."""
    if not any(kind.prices):
        return []
    of_home = dict(zip(kind.homes, kind.prices, strict=True))
    return [of_home[flow.home] for flow in flows]


def _together(program: Program, fleet: Fleet, pools: Pools) -> None:
    """Add what hosts of several pools may take together."""
    position = {p: at for at, p in enumerate(pools.at)}
    for number, limit in enumerate(fleet.joint_host_limits, start=1):
        terms = sorted((position[p], each) for p, each in zip(limit.pools.tolist(), limit.each.tolist(), strict=True))
        at, by = zip(*terms, strict=True)
        program.add(Row(f"together_{number}", "L", limit.most, list(at), list(by)))


def _demand(program: Program) -> None:
    for c, (kind, block) in enumerate(zip(program.classes, program.blocks, strict=True), start=1):
        at: list[int] = list(range(block.start, block.start + len(block.flows)))
        by: list[Number] = [1] * len(at)
        if block.own is not None:
            at.append(block.own)
            by.append(block.unit)
        program.demand.append(program.add(Row(f"serve_{c}", "E", len(kind.sites) * block.unit, at, by)))


def _room(program: Program, pools: Pools, scope: Scope) -> None:
    """Add what the hosts of each pool may carry; with standbys, also while a loss lasts."""
    load: dict[int, _Terms] = defaultdict(_Terms)
    for block in program.blocks:
        for j, flow in enumerate(block.flows, start=block.start):
            load[flow.home].take(j, block.items)
    count = len(pools.ids)
    for p in range(count):
        program.room[p] = program.add(load[p].at_most(f"room_{p + 1}", 0, (p, -pools.usable[p])))
    kept = count * (2 if scope.objective == "new_hosts" else 1)
    for p in range(count if scope.standbys else 0):
        row = load[p].at_most(f"kept_{p + 1}", 0, (kept + p, 1), (p, -pools.covering[p]))
        program.kept[p] = program.add(row)


def _ready(program: Program, pools: Pools) -> None:
    """Add that a pool keeps free what any one loss sends to it."""
    hit_by = [[at for at, loss in enumerate(pools.losses) if p in loss] for p in range(len(pools.ids))]
    sent: dict[tuple[int, int], _Terms] = defaultdict(_Terms)
    for block in program.blocks:
        for j, flow in enumerate(block.flows, start=block.start):
            if flow.standby is not None:
                for loss in hit_by[flow.home]:
                    sent[loss, flow.standby].take(j, block.items)
    first = program.names.index("s1") if pools.ids else 0
    for (loss, standby), row in sorted(sent.items()):
        name = f"ready_{loss + 1}_{standby + 1}"
        program.ready[loss, standby] = program.add(row.at_most(name, 0, (first + standby, -1)))


def _sizes(program: Program, pools: Pools) -> None:
    """Add how many sites of a size or larger fit on hosts that they do not share evenly."""
    sizes = sorted({block.items for block in program.blocks if block.items > 1})
    large: dict[tuple[int, int], _Terms] = defaultdict(_Terms)
    for block in program.blocks:
        counted = [size for size in sizes if size <= block.items]
        for j, flow in enumerate(block.flows, start=block.start):
            for size in counted:
                if pools.usable[flow.home] % size:
                    large[size, flow.home].take(j, 1)
    for (size, p), row in sorted(large.items()):
        most = pools.usable[p] // size
        program.sizes[size, p] = program.add(row.at_most(f"size_{size}_{p + 1}", 0, (p, -most)))


def _limits(program: Program, limits: Sequence[Limit]) -> None:
    for limit in limits:
        row, whole = _Terms(), Fraction(0)
        for kind, block in zip(program.classes, program.blocks, strict=True):
            each = amount(kind, limit.measure, block.unit)
            inside = [j for j, flow in enumerate(block.flows, start=block.start) if flow.home in limit.pools]
            if inside and each:
                whole += each * block.unit * len(kind.sites)
                for j in inside:
                    row.take(j, each)
        if whole > limit.most:
            program.add(row.at_most(limit.name, limit.most))


def _weight(program: Program, most: Number) -> None:
    for p in range(len(program.pools)):
        row, whole = _Terms(), Fraction(0)
        for kind, block in zip(program.classes, program.blocks, strict=True):
            each = amount(kind, "weight", block.unit)
            inside = [j for j, flow in enumerate(block.flows, start=block.start) if flow.home == p]
            if inside:
                whole += each * block.unit * len(kind.sites)
                for j in inside:
                    row.take(j, each)
        if whole > most:
            program.add(row.at_most(f"weight_{p + 1}", 0, (p, -most)))


def _added(program: Program, pools: Pools) -> None:
    count = len(pools.ids)
    for p in range(count):
        row = Row(f"added_{p + 1}", "G", -pools.existing[p], [count + p, p], [1, -1])
        program.added[p] = program.add(row)


def _one_lost(program: Program, pools: Pools, classes: Sequence[int]) -> None:
    """Add what some classes need when one host that they may use is lost: as it stands, and divided and rounded up."""
    used = sorted({p for c in classes for p in reach(program, c)})
    room = {p: pools.covering[p] for p in used if pools.covering[p] > 0}
    clusters = sum(len(program.classes[c].sites) * program.classes[c].clusters for c in classes)
    for divisor in sorted({1, max(room.values(), default=1)}):
        units = {p: -(-most // divisor) for p, most in room.items()}
        program.told_lost.append((divisor, tuple(classes)))
        name = f"one_lost_{len(program.told_lost)}"
        needs = -(-clusters // divisor) + min(units.values(), default=0)
        program.one_lost.append(program.add(Row(name, "G", needs, list(units), list(units.values()))))
