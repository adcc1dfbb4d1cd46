"""A comparison in words: its headline, and one line for each cause."""

from __future__ import annotations

from collections import Counter

from planner.counted_words import counted, first_few
from planner.differences.causes import Causes, Judged
from planner.differences.difference import CAUSES, Cause, Difference, SiteDifference
from planner.differences.plans_between import in_words
from planner.plan import Plan

_MANY: dict[str, str] = {
    "opened": "opened",
    "closed": "closed",
    "other host": "on another host",
    "left out": "left out",
    "served": "newly served",
    "other reasons": "unserved for other reasons",
    "need": "whose need for a shared host changed",
    "margin": "with another latency margin",
    "standby": "with another standby",
    "no standby": "without a standby any more",
    "standby now": "with a standby now",
    "host itself": "with another host",
}


def _kind(row: SiteDifference) -> str:
    """Return what differs of a site, a standby that is lost or found apart from one that is another."""
    if row.what != "standby" or "none" not in (row.old, row.new):
        return row.what
    return "no standby" if row.new == "none" else "standby now"


_NEAREST: dict[Judged, str] = {
    "alike": "An equally good plan",
    "new is worse": "A better plan",
    "new is better": "The nearest plan found, which is not as good,",
    "aims": "A plan that is worse only on a later aim",
}


def difference_headline(found: Difference, old: Plan) -> str:
    """Return the main differences in one sentence; what is not known comes first."""
    if found.same:
        return f"{found.old.name} and {found.new.name} have the same hosts, and each site on the same host."
    parts = [f"{counted(found.unknown, 'difference')} without a known cause"] if found.unknown else []
    parts.append(_hosts(found, old))
    counts = Counter(map(_kind, found.sites))
    order = ("opened", "closed", "left out", "served", "no standby", "standby now", "other host")
    parts += [f"{counted(counts[what], 'site')} {_MANY[what]}" for what in order if counts[what]]
    if len(parts) == 1 and found.sites:
        parts += [f"{counted(number, 'site')} {_MANY[what]}" for what, number in counts.items()]
    return f"{'; '.join(parts)}."


def _hosts(found: Difference, old: Plan) -> str:
    figure = next(figure for figure in found.figures if figure.name == "tie-breaker hosts")
    before, after = int(figure.old or 0), int(figure.new or 0)
    if before == after:
        return f"{counted(after, 'host')} as before"
    shares = _shares(found, old, after)
    why = f" ({', '.join(shares)})" if shares else ""
    return f"{counted(after, 'host')} instead of {before:,}{why}"


def _shares(found: Difference, old: Plan, after: int) -> list[str]:
    """Return what each plan in between did to the number of hosts; with what the choice of the new plan adds."""
    told, before = [], old.hosts
    for step in found.between:
        if step.hosts != before:
            told.append(f"{step.hosts - before:+,} because of {CAUSES[step.cause]}")
        before = step.hosts
    if found.between and after != before:
        told.append(f"{after - before:+,} because of the new plan itself")
    return told


def difference_words(found: Difference, old: Plan, causes: Causes) -> tuple[str, ...]:
    """Return one sentence for each cause, the one behind most differences first; then the plans in between."""
    lines = []
    for what in ("opened", "closed"):
        rows = [row for row in found.sites if row.what == what]
        lines += [f"{counted(len(rows), 'site')} {what}: {_names(rows)}."] if rows else []
    by_cause = Counter(row.cause for row in found.sites if row.what not in ("opened", "closed"))
    lines += [_of_cause(found, cause) for cause, _ in by_cause.most_common()]
    return (*lines, *_fewest(found, causes), *in_words(found.between, old))


def _fewest(found: Difference, causes: Causes) -> tuple[str, ...]:
    """Return how many sites have to move at all."""
    least = found.fewest_moves
    elsewhere = sum(row.what == "other host" for row in found.sites)
    if least is None or not elsewhere:
        return ()
    how = "proven minimum" if least.proven else "not proven to be the fewest"
    verb = "is" if elsewhere == 1 else "are"
    moves = f"moves only {counted(len(least.moved), 'site')}" if least.moved else "moves no site"
    apart = f" It {causes.apart}." if causes.apart else ""
    need = f"{_NEAREST[causes.judged]} {moves} from the old plan's hosts ({how}).{apart}"
    return (f"{counted(elsewhere, 'site')} {verb} on another host. {need}",)


def _of_cause(found: Difference, cause: Cause) -> str:
    rows = [row for row in found.sites if row.cause == cause and row.what not in ("opened", "closed")]
    counts = Counter(map(_kind, rows))
    what = " and ".join(f"{counted(number, 'site')} {_MANY[what]}" for what, number in counts.most_common())
    how = " Intermediate plans showed this." if all(row.planned for row in rows) else ""
    return f"{what}: {_names(rows)}. Cause: {CAUSES[cause]}.{how}"


def _names(rows: list[SiteDifference]) -> str:
    return first_few(dict.fromkeys(row.site for row in rows))
