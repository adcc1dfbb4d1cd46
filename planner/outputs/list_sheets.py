"""The lesser lists: sites that are not served, sites that need no shared host, findings, the policy as applied."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from openpyxl.worksheet.worksheet import Worksheet

from planner import columns
from planner.outputs import cellsafe, headings, styles
from planner.outputs.cellsafe import Value
from planner.outputs.facts import Facts
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.shown import reasons_text

_WHY = {
    "own_tie_breaker": "it has its own tie-breaker",
    "no_clusters": "it runs no cluster",
}


def write_unserved(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet of sites without a tie-breaker: who serves them today, each broken rule on a line of its own, and
    what would help."""
    fields = (
        Field(headings.SITE),
        Field(headings.NAME, most=28),
        Field(headings.REGION, most=20),
        Field(headings.CLUSTERS, styles.COUNT),
        Field(headings.CURRENT_HOST),
        Field(headings.REASONS, least=30, most=75),
        Field(headings.REMEDY, least=30, most=50),
    )
    rows = (
        (
            unserved.site,
            cellsafe.plain(facts.names.get(unserved.site)),
            cellsafe.plain(facts.regions.get(unserved.site)),
            unserved.clusters,
            unserved.current,
            reasons_text(unserved.reasons),
            unserved.remedy,
        )
        for unserved in facts.plan.unserved
    )
    return write_table(book, headings.UNSERVED, fields, rows)


def write_standbys(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet of who takes over which site after a loss, those that nobody takes over first."""
    budget_ms = {row.site: facts.loss_budgets_ms.get(row.site, row.budget_ms) for row in facts.plan.assignments}
    looser = any(budget_ms[row.site] != row.budget_ms for row in facts.plan.assignments)
    fields = (
        Field(headings.SITE),
        Field(headings.NAME, most=28),
        Field(headings.CLUSTERS, styles.COUNT),
        Field(headings.HOST),
        Field(headings.HUB),
        Field(headings.STANDBY),
        Field(headings.STANDBY_HUB),
        Field(headings.STANDBY_RTT, styles.MS, least=13),
        Field(headings.LOSS_BUDGET if looser else headings.BUDGET, styles.MS, least=13),
        Field(headings.REASONS, least=30, most=75),
    )
    why = {one.site: one.reasons for one in facts.plan.uncovered}
    hub_of = {host.host: host.hub for host in facts.plan.host_list}
    rows = (
        (
            row.site,
            cellsafe.plain(facts.names.get(row.site)),
            row.clusters,
            row.host,
            row.hub,
            row.standby,
            hub_of.get(row.standby or ""),
            row.standby_rtt_ms,
            budget_ms[row.site],
            "" if row.standby else reasons_text(why.get(row.site, ())),
        )
        for row in sorted(facts.plan.assignments, key=lambda row: row.standby is not None)
    )
    sheet = write_table(book, headings.STANDBYS, fields, rows)
    area = f"J2:J{max(2, 1 + len(facts.plan.assignments))}"
    sheet.conditional_formatting.add(area, styles.when("LEN($J2)>0", "watch"))
    return sheet


def write_no_host_needed(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet of sites that need no shared host, and why."""
    fields = (
        Field(headings.SITE),
        Field(headings.NAME),
        Field(headings.REGION),
        Field(headings.WHY, least=18),
        Field("in words", least=30),
    )
    rows = (
        (
            spared.site,
            cellsafe.plain(facts.names.get(spared.site)),
            cellsafe.plain(facts.regions.get(spared.site)),
            spared.why,
            _WHY[spared.why],
        )
        for spared in facts.plan.no_host_needed
    )
    return write_table(book, headings.NO_HOST_NEEDED, fields, rows)


def write_findings(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet of everything found wrong or worth knowing in the inputs."""
    fields = (
        Field("severity", least=11),
        Field("code", most=28),
        Field("file", most=28),
        Field("where", most=20),
        Field("message", least=30, most=60),
        Field("what to do", least=30, most=50),
    )
    rows = ((f.severity, f.code, f.file, f.where, f.message, f.hint) for f in facts.plan.findings)
    sheet = write_table(book, headings.FINDINGS, fields, rows)
    area = f"A2:A{max(2, 1 + len(facts.plan.findings))}"
    sheet.conditional_formatting.add(area, styles.when('$A2="error"', "bad"))
    sheet.conditional_formatting.add(area, styles.when('$A2="warning"', "watch"))
    return sheet


def write_policy(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet of every setting as the plan applied it, with its default and meaning."""
    fields = (
        Field("setting", least=22),
        Field("value", styles.SETTING, least=14),
        Field("default", styles.SETTING, least=14),
        Field("differs", least=10),
        Field("unit", least=14),
        Field("meaning", least=50, most=90),
    )
    applied = applied_policy(facts)
    rows: list[tuple[Value, ...]] = []
    for name, value in applied.items():
        setting = next((setting for setting in columns.SETTINGS if setting.name == name), None)
        default = setting_text(setting.default if setting else None)
        differs = "changed" if setting_text(value) != default else ""
        rows.append(
            (
                name,
                setting_text(value),
                default,
                differs,
                setting.unit if setting else "",
                setting.meaning if setting else "",
            )
        )
    sheet = write_table(book, headings.POLICY, fields, rows)
    sheet.conditional_formatting.add(f"D2:D{max(2, 1 + len(rows))}", styles.when('$D2="changed"', "plain"))
    return sheet


def applied_policy(facts: Facts) -> dict[str, Any]:
    """Return every setting by name: as the plan states it, else as the fleet has it."""
    return {**asdict(facts.fleet.policy), **facts.plan.policy}


def setting_text(value: Any) -> Value:
    """Return a setting as the Policy sheet writes it: yes or no for a truth value, None for a blank."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    value = cellsafe.plain(value)
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return None if value == "" else value
