"""What each section of the sheet Summary says."""

from __future__ import annotations

import re
from collections import Counter

from planner import columns
from planner.counted_words import counted
from planner.fleet import Finding
from planner.identity import identity_in_words, plan_hash
from planner.intake import REPAIRS
from planner.outputs import headings, how_sure, plan_sentences, styles
from planner.outputs.causes import unserved_by_cause
from planner.outputs.cellsafe import plain
from planner.outputs.facts import Facts, margin_ms
from planner.outputs.list_sheets import applied_policy, setting_text
from planner.outputs.page import Page

_SMALLEST = 10
_MOST_CAUSES = 10
_STATUS_FILLS = {"optimal": "good", "feasible": "note"}
_EVIDENCE = {
    "measured": "RTT was measured",
    "modelled": "RTT follows from the WAN links; measure before cut-over",
    "estimated": "RTT is estimated from the distance; measure before cut-over",
}
_RANGE = "columns RTT low and RTT high say between which times a measurement is to be expected"
_HOW_TO = (
    "On sheet Assignments the columns with a yellow heading (status, date, initials, remarks) are for your team. "
    "When you give a site another host there, the live check on sheet Hosts shows at once if that host is overfilled."
)


def headline_of(facts: Facts) -> str:
    """Return the first sentence of the page."""
    return f"{how_sure.headline(facts.plan)} {plan_sentences.spared_in_words(facts.fleet, facts.plan)}".rstrip()


def figures(page: Page, facts: Facts) -> None:
    """Status, objective, bound and gap, then hosts, sites and clusters."""
    plan = facts.plan
    unit = styles.MONEY if plan.objective == "cost" else styles.COUNT
    bound = unit if plan.lower_bound == round(plan.lower_bound) else styles.MONEY
    page.row(headings.STATUS, plan.status, how_sure.status_in_words(plan), pale=_STATUS_FILLS[plan.status])
    complete = ("yes", "good") if plan.complete else ("no", "watch")
    page.row("Complete", complete[0], plan_sentences.complete_in_words(plan), pale=complete[1])
    page.row(headings.OBJECTIVE, plan.objective, f"The aim of the plan: {plan_sentences.OBJECTIVES[plan.objective]}.")
    page.row(
        headings.OBJECTIVE_VALUE,
        plain(plan.objective_value),
        f"{plan_sentences.amount(plan, plan.objective_value)}: what this plan takes.",
        unit,
    )
    page.row(headings.LOWER_BOUND, plain(plan.lower_bound), how_sure.bound_in_words(plan), bound)
    page.row("Gap", plan.gap, how_sure.gap_in_words(plan), styles.SHARE)
    page.text_row("Cover", plan_sentences.survives(plan))
    if plan.cover_prices:
        page.text_row("What each kind of cover needs", plan_sentences.cover_prices_in_words(plan))
    if plan.proof.words:
        page.text_row("Proof", plan.proof.words)
    if plan.then:
        page.text_row("Further aims", how_sure.later_aims_in_words(plan))
    if facts.drills is not None and plan.hosts:
        page.text_row("Drilled", facts.drills.words)
    existing = sum(host.existing for host in plan.host_list)
    hubs = len({host.hub for host in plan.host_list})
    page.row(
        "Hosts",
        plan.hosts,
        f"{existing:,} existing, {plan.hosts - existing:,} new, at {counted(hubs, 'hub')}.",
        styles.COUNT,
    )
    page.row("Sites served", len(plan_sentences.sites_served(plan)), _actions(facts), styles.COUNT)
    if facts.current:
        page.row("Moves", facts.moves, "Sites whose host is another than today, or that need none now.", styles.COUNT)
    page.row("Clusters served", sum(a.clusters for a in plan.assignments), _room(facts), styles.COUNT)
    page.row("Sites unserved", len(plan.unserved), "Each with its reasons on sheet Unserved.", styles.COUNT)
    page.row("Clusters unserved", sum(u.clusters for u in plan.unserved), "", styles.COUNT)
    for cause in unserved_by_cause(plan)[:_MOST_CAUSES]:
        page.text_row("What would help", cause.words)
    if left := plan_sentences.left_in_place_in_words(facts.fleet, plan):
        page.text_row("Sites that stay", left)
    page.row(
        "No host needed", len(plan.no_host_needed), plan_sentences.spared_in_words(facts.fleet, plan), styles.COUNT
    )


def aims(page: Page, facts: Facts) -> None:
    """Write every aim in the order in which it counts, what the plan makes of it, and how far that is proven."""
    heads = ("aim", "value", "bound", "proven")
    page.table_row(heads, (styles.HEADING, *(styles.HEADING_OF_NUMBERS,) * 2, styles.HEADING))
    for aim in facts.plan.aims:
        whole = aim.value == round(aim.value) and aim.bound == round(aim.bound)
        style = styles.MS if aim.aim in ("latency", "margin") else styles.COUNT if whole else styles.MONEY
        row = (
            how_sure.measure_of(aim.aim),
            plain(aim.value),
            plain(aim.bound),
            "yes" if aim.proven else "no",
        )
        page.table_row(row, (styles.TEXT, style, style, styles.TEXT))
    page.whole_row(
        "An aim is proven if no plan can do better on it without doing worse on an aim above it.", styles.NOTE
    )


def attention(page: Page, facts: Facts) -> None:
    """Counts that should be nought, each with a word beside its colour."""
    errors, warnings = facts.severities["error"], facts.severities["warning"]
    unmeasured = len({a.site for a in facts.plan.assignments if a.evidence != "measured"})
    rows = [
        (
            "Errors in the inputs",
            errors,
            "See sheet Findings: the plan may read these rows in another way than you meant.",
            "bad",
        ),
        ("Warnings in the inputs", warnings, "See sheet Findings.", "watch"),
        ("Unserved sites", len(facts.plan.unserved), "See sheet Unserved for the reasons and what would help.", "bad"),
        *_without_standby(facts),
        ("Sites not measured", unmeasured, "Filter column evidence on sheet Assignments, then measure.", "watch"),
    ]
    if facts.readiness is not None:
        sites = facts.readiness.counts
        unready = sites["ready_after"] + sites["not_a_fit"]
        rows.append(
            (
                "Sites not ready",
                unready,
                f"{plan_sentences.readiness_headline(facts.readiness)} See sheet Readiness.",
                "watch",
            )
        )
    rows += _to_measure(facts)
    for label, number, remark, pale in rows:
        verdict = f"▲ {number:,}: please check" if number else "✓ none"
        page.row(label, verdict, remark if number else "", pale=pale if number else "good")


def _without_standby(facts: Facts) -> list[tuple[str, int, str, str]]:
    """Return the row on standbys, where the policy asks for cover."""
    if facts.plan.policy.get("cover", "none") == "none":
        return []
    remark = "These lose their third vote with their host: see sheet Standby for the reasons."
    return [("Sites without a standby", len(facts.plan.uncovered), remark, "bad")]


def _to_measure(facts: Facts) -> list[tuple[str, int, str, str]]:
    pairs = {(row.site, row.hub) for row in facts.plan.measure_first}
    if not pairs:
        return []
    remark = "They decide the number of hosts, or who is served: see sheet Measure first."
    return [("Pairs to measure first", len(pairs), remark, "watch")]


def margins(page: Page, facts: Facts) -> None:
    """Write the assignments that come closest to their latency budget."""
    smallest = sorted(facts.plan.assignments, key=lambda a: (a.margin_ms, a.site, a.host))[:_SMALLEST]
    if not smallest:
        page.whole_row("No site is served.")
        return
    heads = ("site", "name", "hub", "host", "RTT", "budget", "margin", "evidence")
    cell_styles = (styles.TEXT,) * 4 + (styles.MS,) * 3 + (styles.TEXT,)
    page.table_row(heads, [styles.heading_of(style) for style in cell_styles])
    for a in smallest:
        name = plain(facts.names.get(a.site))
        page.table_row((a.site, name, a.hub, a.host, a.rtt_ms, a.budget_ms, margin_ms(a), a.evidence), cell_styles)


def assumptions(page: Page, facts: Facts) -> None:
    """How the round-trip times are known, and how many cells were repaired."""
    sites: Counter[str] = Counter()
    clusters: Counter[str] = Counter()
    sites.update(evidence for _, evidence in {(a.site, a.evidence) for a in facts.plan.assignments})
    for assignment in facts.plan.assignments:
        clusters[assignment.evidence] += assignment.clusters
    for evidence, meaning in _EVIDENCE.items():
        more = _ages(facts) if evidence == "measured" else _RANGE if evidence == "estimated" else ""
        meant = "; ".join(part for part in (meaning, more) if part)
        remark = f"{counted(clusters[evidence], 'cluster')}: {meant}." if sites[evidence] else ""
        page.row(evidence.capitalize(), counted(sites[evidence], "site"), remark)
    repaired = sum(_cells(finding) for finding in facts.plan.findings if finding.code in REPAIRS)
    remark = "Read as what they most likely mean: see sheet Findings." if repaired else ""
    page.row("Repaired cells", repaired, remark, styles.COUNT)


def _ages(facts: Facts) -> str:
    """Say when the oldest of the measurements was made, and how many have no date; nothing where none has one."""
    measured = [a for a in facts.plan.assignments if a.evidence == "measured"]
    dates = [a.measured_at for a in measured if a.measured_at]
    undated = len({a.site for a in measured if not a.measured_at})
    if not dates:
        return ""
    return f"the oldest on {min(dates)[:10]}" + (f", {counted(undated, 'site')} without a date" if undated else "")


def cautions(page: Page, facts: Facts) -> None:
    """What no plan can know."""
    for number, caution in enumerate(plan_sentences.CAUTIONS, start=1):
        page.whole_row(f"{number}. {caution}")
    page.whole_row(_HOW_TO)


def policy(page: Page, facts: Facts) -> None:
    """Settings that differ from their defaults; the rest is on its own sheet."""
    defaults = {setting.name: setting_text(setting.default) for setting in columns.SETTINGS}
    applied = {name: setting_text(value) for name, value in applied_policy(facts).items()}
    changed = [
        f"{name} {value}" for name, value in applied.items() if value is not None and value != defaults.get(name)
    ]
    page.text_row("Settings of this plan", "; ".join(changed) or "nothing")
    page.text_row("Other settings", "have their defaults: see sheet Policy")


def origin(page: Page, facts: Facts) -> None:
    """Files that the plan rests on, with their SHA-256, and the program that made it."""
    page.text_row(headings.PLAN, identity_in_words(facts.plan))
    page.text_row(headings.PLAN_HASH, plan_hash(facts.plan))
    if facts.plan.follows:
        page.text_row(headings.PREVIOUS_PLAN, facts.plan.follows)
    for source in facts.plan.sources or facts.fleet.sources:
        page.text_row("Input", f"{source.name}  (SHA-256 {source.sha256})")
    page.row("castingvote", facts.plan.version or "version not stated")


def _actions(facts: Facts) -> str:
    kept, attached, moved = (facts.actions[action] for action in ("keep", "attach", "move"))
    return f"{kept:,} keep their host, {attached:,} get their first, {moved:,} move to another."


def _room(facts: Facts) -> str:
    usable = sum(host.usable for host in facts.plan.host_list)
    used = sum(host.clusters for host in facts.plan.host_list)
    return f"The hosts have room for {usable:,}; room for {usable - used:,} is free." if facts.plan.hosts else ""


def _cells(finding: Finding) -> int:
    """Return how many cells a finding is about: the number that its message gives, else one."""
    stated = re.search(r"\b(\d+) (?:cells\b|more like the)", finding.message)
    return int(stated[1]) if stated else 1
