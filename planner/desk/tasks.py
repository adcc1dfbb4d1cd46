"""The tasks of a worker, by name: from what the page sent to the plain data that it shows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from planner.desk.bench import Bench, Stopped, Work

_COUNT_SECONDS = 1.0  # a proven count takes a tenth of that; who is left out where room is short may take minutes
_EXPLAIN_SECONDS = 30.0


def read(bench: Bench, work: Work) -> dict[str, Any]:
    """Return what the files make: columns, questions, findings, and what can be asked."""
    from planner.desk.shown_fleet import shown_fleet

    return shown_fleet(bench.brought(work))


def count(bench: Bench, work: Work) -> dict[str, Any]:
    """Return the proven count; where cover is asked for, that without it, which no plan with cover undercuts."""
    from planner.desk.answers import count_answer
    from planner.sizing import count as count_hosts

    fleet = bench.asked(work)
    plain = fleet.replace(policy=fleet.policy.replace(cover="none")) if fleet.policy.cover != "none" else fleet
    found = count_hosts(plain, time_limit=_COUNT_SECONDS, watch=work.watch)
    return {**count_answer(found, fleet), "changes": list(work.question.words())}


def plan(bench: Bench, work: Work) -> dict[str, Any]:
    """Return the whole plan as the page shows it."""
    from planner.desk.answers import plan_answer

    fleet, made = bench.plan(work, anew=True)
    return {**plan_answer(fleet, made), "stopped": bench.was_stopped(work), "changes": list(work.question.words())}


def keep(bench: Bench, work: Work) -> dict[str, Any]:
    """Write the plan of an answer to the file that the server names, and return what the page shows of it."""
    from planner.desk.answers import plan_answer
    from planner.outputs import write_json

    fleet, made = bench.plan(work)
    write_json(made, work.body["out"])
    shown = plan_answer(fleet, made)
    return {name: shown[name] for name in _KEPT}


_KEPT = (
    *("headline", "settled", "hosts", "new", "bound", "proven", "unserved", "uncovered", "moves", "least_margin_ms"),
    *("mean_rtt_ms", "cost", "survives", "hubs"),
)


def compare(bench: Bench, work: Work) -> dict[str, Any]:
    """Return two kept answers side by side; ``pair`` holds the bodies of both, ``names`` what they are called."""
    from planner.desk.side_by_side import side_by_side

    first, second = (bench.plan(Work({**work.body, **one}, work.tell)) for one in work.body["pair"])
    old, new = (str(name) for name in work.body["names"])
    return side_by_side(first, second, (old, new), lambda words: _told(work, words))


def explain(bench: Bench, work: Work) -> dict[str, Any]:
    """Return why not fewer hosts and what would help; or one site's story."""
    from planner.desk.answers import explanation_answer
    from planner.explain import explain as explain_plan

    fleet, made = bench.plan(work)
    site = str(work.body.get("site") or "").strip() or None
    found = explain_plan(
        fleet,
        made,
        site=site,
        time_limit=_EXPLAIN_SECONDS,
        tell=lambda words: _told(work, words),
    )
    return explanation_answer(found)


def _told(work: Work, words: str) -> None:
    if not work.tell({"stage": words}):
        raise Stopped


def lose(bench: Bench, work: Work) -> dict[str, Any]:
    """Return what a loss does to the plan; all single losses where none is named."""
    from planner.desk.answers import drill_answer
    from planner.resilience import drill

    fleet, made = bench.plan(work)
    return drill_answer(drill(fleet, made, [str(name) for name in work.body.get("lost") or ()]))


def hand_over(bench: Bench, work: Work) -> dict[str, Any]:
    """Write one file of the hand-over to where the server says, and return its name."""
    from planner.desk.handing_over import write_file

    path = Path(work.body["out"])
    name = write_file(bench, work, str(work.body["kind"]), path)
    return {"name": name, "bytes": path.stat().st_size}


TASKS: dict[str, Callable[[Bench, Work], dict[str, Any]]] = {
    "read": read,
    "count": count,
    "plan": plan,
    "keep": keep,
    "compare": compare,
    "explain": explain,
    "lose": lose,
    "hand_over": hand_over,
}
