"""The plan as a point of the program, and whether that point keeps every row, in exact fractions."""

from __future__ import annotations

from collections import Counter, defaultdict

from planner.certificate.certificate_parts import Flow, Number, Program, Row
from planner.errors import InputError
from planner.fleet import Finding
from planner.plan import Plan


def point_of(program: Program, plan: Plan) -> dict[int, Number]:
    """Return the values of the variables, those of 0 left out.

    Raises InputError where the plan is none for the program: it breaks a row, or puts a site where it may not be.
    """
    pool_at = {pool: p for p, pool in enumerate(program.pools)}
    pool_of = {host.host: pool_at.get(host.pool, -1) for host in plan.host_list}
    class_of = {site: c for c, kind in enumerate(program.classes) for site in kind.sites}
    place: dict[int, dict[Flow, int]] = {}
    point: Counter[int] = Counter(pool_of[host.host] for host in plan.host_list)
    served: set[str] = set()
    for row in plan.assignments:
        c = class_of.get(row.site, -1)
        covered = c >= 0 and program.scope.standbys and program.classes[c].covered
        standby = pool_of.get(str(row.standby), -1) if covered else None
        flow = Flow(pool_of.get(row.host, -1), standby)
        if c >= 0 and c not in place:
            block = program.blocks[c]
            place[c] = {known: j for j, known in enumerate(block.flows, start=block.start)}
        if c < 0 or flow not in place[c]:
            raise _not_a_plan(
                f"by the rules of the fleet, site {row.site} cannot use the host or standby that the plan gives it"
            )
        point[place[c][flow]] += row.clusters // program.blocks[c].items
        served.add(row.site)
    for entry in plan.no_host_needed:
        c = class_of.get(entry.site, -1)
        if c >= 0 and program.blocks[c].own is not None and entry.site not in served:
            point[program.blocks[c].own or 0] += 1
    found: dict[int, Number] = dict(point)
    _keep_room(program, found)
    _add_hosts(program, found)
    _check(program, found)
    return {j: value for j, value in sorted(found.items()) if value}


def _keep_room(program: Program, point: dict[int, Number]) -> None:
    """Let every pool keep free what the largest loss sends to it."""
    kept: dict[int, Number] = defaultdict(int)
    for constraint in program.ready.values():
        row = program.row(constraint)
        sent = sum((point.get(j, 0) * a for j, a in zip(row.at[:-1], row.by[:-1], strict=True)), 0)
        kept[row.at[-1]] = max(kept[row.at[-1]], sent)
    point.update(kept)


def _add_hosts(program: Program, point: dict[int, Number]) -> None:
    for constraint in program.added.values():
        row = program.row(constraint)
        added, hosts = row.at
        point[added] = max(0, point.get(hosts, 0) + row.rhs)


def _check(program: Program, point: dict[int, Number]) -> None:
    broken = [program.row(program.upper(p)) for p, most in enumerate(program.most) if point.get(p, 0) > most or p < 0]
    broken += [row for row in program.rows if not _keeps(row, point)]
    if broken or point.get(-1):
        named = ", ".join(row.name for row in broken[:3]) or "a host is of a pool that the fleet does not have"
        raise _not_a_plan(f"it breaks these rows of the model: {named}")


def _keeps(row: Row, point: dict[int, Number]) -> bool:
    value = sum((point[j] * a for j, a in zip(row.at, row.by, strict=True) if j in point), 0)
    return {"L": value <= row.rhs, "E": value == row.rhs, "G": value >= row.rhs}[row.sense]


def value_of(program: Program, point: dict[int, Number]) -> Number:
    """Return the objective at ``point``."""
    return sum((price * point.get(j, 0) for j, price in program.objective.items()), 0)


def _not_a_plan(why: str) -> InputError:
    message = f"No certificate was written, because the plan does not hold: {why}."
    hint = "Run castingvote verify with the fleet and the plan: it lists everything that is wrong."
    return InputError((Finding("error", "plan_does_not_hold", "", message, hint),))
