"""A plan as a summary to paste into a ticket: Markdown, with every text from the input escaped."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.identity import identity_in_words, plan_hash
from planner.outputs import cellsafe, how_sure, plan_sentences
from planner.outputs.atomic import write_text
from planner.outputs.causes import unserved_by_cause
from planner.outputs.facts import Facts
from planner.plan import Plan

_MOST_UNSERVED = 20  # a ticket is no data file
# Any ASCII punctuation may be escaped (CommonMark 0.31, section 2.4); these can mean something, a sign or number only
# at the beginning, colon and dot only in what is taken for a link.
_MEANINGFUL = re.compile(r"([\\`*_{}\[\]<>#|~&@$^!=]|^[-+]|(?<=\d)[.)](?= |$)|:(?=//)|(?<=www)\.)")


def write_markdown(fleet: Fleet, plan: Plan, path: str | os.PathLike[str]) -> None:
    """Write the summary of `plan_to_markdown`; raises InputError when ``path`` cannot be written."""
    write_text(path, plan_to_markdown(fleet, plan))


def plan_to_markdown(fleet: Fleet, plan: Plan) -> str:
    """Return headline and proof, hosts by hub, what is unserved and why, what needs attention, and the sources."""
    return "\n".join(_lines(Facts(fleet, plan))) + "\n"


def _lines(facts: Facts) -> Iterator[str]:
    plan = facts.plan
    yield f"**{escaped(how_sure.headline(plan))}**"
    yield from ("", f"Status: {plan.status}. Complete: {'yes' if plan.complete else 'no'}.")
    if plan.proof.words:
        yield from ("", escaped(plan.proof.words))
    if plan.then:
        yield from ("", escaped(how_sure.later_aims_in_words(plan)))
    yield from ("", escaped(plan_sentences.survives(plan, "the list of standbys in the plan")))
    if plan.host_list:
        yield from ("", "| hub | hosts | new | clusters | room |", "| --- | ---: | ---: | ---: | ---: |")
        yield from _hubs(plan)
    if plan.unserved:
        yield from ("", f"**{counted(len(plan.unserved), 'site')} without a tie-breaker in the plan:**", "")
        yield from _unserved(facts)
    if spared := plan_sentences.spared_in_words(facts.fleet, plan):
        yield from ("", escaped(spared))
    if left := plan_sentences.left_in_place_in_words(facts.fleet, plan):
        yield from ("", escaped(left))
    yield from ("", "**Before the rollout:**", "")
    yield from _attention(facts)
    yield from (f"- {caution}" for caution in plan_sentences.CAUTIONS)
    yield ""
    for source in plan.sources or facts.fleet.sources:
        yield f"Input: {escaped(source.name)}, SHA-256 {source.sha256}."
    yield f"{escaped(identity_in_words(plan))} SHA-256 {plan_hash(plan)}."
    yield f"Planned by castingvote {escaped(plan.version or '(version not stated)')}."


def _hubs(plan: Plan) -> Iterator[str]:
    for hub in sorted({host.hub for host in plan.host_list}):
        hosts = [host for host in plan.host_list if host.hub == hub]
        new, clusters = sum(not host.existing for host in hosts), sum(host.clusters for host in hosts)
        yield f"| {escaped(hub)} | {len(hosts)} | {new} | {clusters} | {sum(host.usable for host in hosts)} |"


def _unserved(facts: Facts) -> Iterator[str]:
    if len(facts.plan.unserved) > 1:
        yield from (f"- **{escaped(cause.words)}**" for cause in unserved_by_cause(facts.plan))
    for site in facts.plan.unserved[:_MOST_UNSERVED]:
        reasons = "; ".join(f"{reason.code}: {reason.detail}" for reason in site.reasons)
        name = facts.names.get(site.site)
        today = f", on {escaped(site.current)} today" if site.current else ""
        yield f"- {escaped(site.site)}{f' ({escaped(name)})' if name else ''}{today}: {escaped(reasons)}"
        if site.remedy:
            yield f"  - {escaped(site.remedy)}"
    if len(facts.plan.unserved) > _MOST_UNSERVED:
        yield f"- and {len(facts.plan.unserved) - _MOST_UNSERVED:,} more"


def _attention(facts: Facts) -> Iterator[str]:
    plan = facts.plan
    unmeasured = len({a.site for a in plan.assignments if a.evidence != "measured"})
    if first := {(row.site, row.hub) for row in plan.measure_first}:
        yield f"- Measure these first, because the plan depends on them: {escaped(_pairs(sorted(first)))}."
    if unmeasured:
        sites = counted(unmeasured, "site")
        yield f"- {sites} {'is' if unmeasured == 1 else 'are'} served on a modelled or estimated round-trip time."
    if facts.moves:
        yield f"- {counted(facts.moves, 'move')}: sites whose host is another than today."
    for severity in ("error", "warning"):
        if facts.severities[severity]:
            yield f"- Look into {counted(facts.severities[severity], severity)} in the input."


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return ", ".join(f"{site} to {hub}" for site, hub in pairs)


def escaped(text: str) -> str:
    """Return ``text`` on one line and so that Markdown shows it as it is.

    >>> escaped("<b>5 * 3</b> | [x](y)")
    '\\\\<b\\\\>5 \\\\* 3\\\\</b\\\\> \\\\| \\\\[x\\\\](y)'
    """
    return _MEANINGFUL.sub(r"\\\1", cellsafe.one_line(text))
