"""Drills as sheets: every single loss and the worst pairs in one table, or one named loss site by site."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

from openpyxl.worksheet.worksheet import Worksheet

from planner.counted_words import counted
from planner.outputs import cellsafe, headings, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import Page, title_page

if TYPE_CHECKING:
    from planner.resilience.drills import Drill, DrillReport
    from planner.resilience.drills.drill_report import LossFigures

OUTCOMES = {
    "rehomed": "goes to its standby",
    "no_standby": "no standby",
    "standby_lost": "its standby is lost too",
    "not_eligible": "its standby may not serve it",
}
WHY = {
    "host": "its host is lost",
    "cut": "no way to its host is left",
    "budget": "the remaining way is over its latency budget",
}
_SINGLE, _PAIR = "single", "pair"
_FIELDS = (
    Field("lost", least=18, most=44),
    Field("losses", least=9),
    Field("kind", least=9),
    Field("hosts", styles.COUNT),
    Field("sites", styles.COUNT),
    Field("clusters that lose their vote", styles.COUNT, least=21),
    Field("of them without standby", styles.COUNT, least=19),
    Field("over cap", styles.COUNT, least=12),
    Field("without vote after re-homing", styles.COUNT, least=20),
    Field("survived", least=11),
    Field("overfilled hosts", least=20, most=30),
    Field("hosts that use their reserve", least=19, most=30),
    Field("sites in zone", styles.COUNT, least=13),
    Field("remarks", least=12, most=40),
)


def write_drills(book: Book, report: DrillReport) -> Worksheet:
    """Add the sheet of every single loss, then the worst pairs."""
    sheet = write_table(book, headings.DRILLS, _FIELDS, _rows(report))
    area = f"J2:J{max(2, 1 + len(report.singles) + len(report.pairs))}"
    sheet.conditional_formatting.add(area, styles.when('$J2="yes"', "good"))
    sheet.conditional_formatting.add(area, styles.when('$J2="no"', "bad"))
    return sheet


def write_radii(book: Book, report: DrillReport) -> Worksheet:
    """Add the sheet of the largest blast radii beside what the policy allows."""
    fields = (
        Field("lost", least=18, most=44),
        Field("kind", least=9),
        Field("sites", styles.COUNT),
        Field("clusters", styles.COUNT, least=10),
        Field("allowed clusters", styles.COUNT, least=12),
        Field("share of weight", styles.SHARE, least=12),
        Field("allowed share", styles.SHARE, least=12),
        Field("within limits", least=11),
    )
    rows = (
        (
            cellsafe.one_line(one.loss.name),
            one.loss.kind,
            one.sites,
            one.clusters,
            one.most_clusters,
            one.weight_percent / 100,
            None if one.most_percent is None else one.most_percent / 100,
            "no" if one.over else "" if one.most_clusters is one.most_percent is None else "yes",
        )
        for one in report.radii
    )
    sheet = write_table(book, headings.BLAST_RADIUS, fields, rows)
    sheet.conditional_formatting.add(f"H2:H{max(2, 1 + len(report.radii))}", styles.when('$H2="no"', "bad"))
    return sheet


def write_drill_workbook(report: DrillReport, path: str | os.PathLike[str]) -> None:
    """Write a report as an .xlsx workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    if report.drill is None:
        page = _page(book, "Drills", report.words or "The plan has no host that could be lost.")
        page.section("What was searched")
        for said in (*report.searched, *report.notes):
            page.whole_row(said)
        write_drills(book, report)
        write_radii(book, report)
    else:
        _write_one(book, report, report.drill)
    book.save(path)


def in_words(drill: Drill) -> str:
    """Return a named loss in two or three sentences."""
    figures = drill.figures
    lost = cellsafe.one_line(", ".join(map(str, drill.losses)))
    if not figures.displaced:
        return f"The loss of {lost} takes no third vote."
    after = "every one of them has a third vote again"
    if not figures.survived:
        after = f"{counted(figures.unprotected_after, 'cluster')} would still stop if a node failed"
    return (
        f"The loss of {lost} takes {counted(figures.hosts, 'host')} and the third vote of "
        f"{counted(figures.displaced, 'cluster')} at {counted(figures.sites, 'site')}. They keep running on two votes, "
        f"and each would stop if one of its nodes failed now. After re-homing {after}."
    )


def _page(book: Book, name: str, words: str) -> Page:
    return title_page(book, name if name != headings.DRILLS else "Overview", name, words)


def _rows(report: DrillReport) -> Iterator[tuple[Value, ...]]:
    for single in report.singles:
        kind = single.loss.kind.replace("_", " ")
        yield _row(cellsafe.one_line(single.loss.name), _SINGLE, kind, single.figures, single.detail)
    for pair in report.pairs:
        kinds = " + ".join(dict.fromkeys((pair.first.kind, pair.second.kind)))
        yield _row(cellsafe.one_line(f"{pair.first} + {pair.second}"), _PAIR, kinds, pair.figures, "")


def _row(lost: str, losses: str, kind: str, figures: LossFigures, detail: str) -> tuple[Value, ...]:
    return (
        lost,
        losses,
        kind,
        figures.hosts,
        figures.sites,
        figures.displaced,
        figures.stranded,
        figures.over,
        figures.unprotected_after,
        "yes" if figures.survived else "no",
        ", ".join(figures.overfilled),
        ", ".join(figures.into_reserve),
        figures.in_zone or None,
        detail,
    )


def _write_one(book: Book, report: DrillReport, drill: Drill) -> None:
    figures = drill.figures
    page = _page(book, "Drill", in_words(drill))
    page.section("Numbers")
    page.row("Hosts lost", figures.hosts, cellsafe.one_line(", ".join(drill.hosts_lost)), styles.COUNT)
    page.row("Clusters displaced", figures.displaced, "Each stops if one of its nodes fails now.", styles.COUNT)
    page.row("Without standby", figures.stranded, "Clusters with nowhere to go: see sheet Displaced.", styles.COUNT)
    page.row("Beyond the caps", figures.over, cellsafe.one_line(", ".join(figures.overfilled)), styles.COUNT)
    page.row(
        "Sites in the zone", figures.in_zone, "They lie in what is lost, and may be down themselves.", styles.COUNT
    )
    page.row("Unserved before", len(drill.unserved), "Sites that had no third vote anyway.", styles.COUNT)
    page.section("How to read it")
    for note in report.notes:
        page.whole_row(note)
    fields = (
        Field(headings.SITE),
        Field(headings.CLUSTERS, styles.COUNT),
        Field(headings.HOST),
        Field("why", least=22),
        Field(headings.STANDBY),
        Field("what happens", least=26),
        Field("detail", least=20, most=60),
    )
    rows = ((d.site, d.clusters, d.host, WHY[d.why], d.standby, OUTCOMES[d.outcome], d.detail) for d in drill.displaced)
    sheet = write_table(book, "Displaced", fields, rows)
    area = f"F2:F{max(2, 1 + len(drill.displaced))}"
    sheet.conditional_formatting.add(area, styles.when(f'$F2<>"{OUTCOMES["rehomed"]}"', "bad"))
    numbers = ("before", "arriving", "after", "limit", headings.CAP, "over cap")
    load_fields = (
        Field(headings.HOST),
        Field(headings.HUB),
        *(Field(name, styles.COUNT) for name in numbers),
    )
    loads = ((d.host, d.hub, d.before, d.arriving, d.after, d.limit, d.cap, d.over) for d in drill.loads)
    sheet = write_table(book, "Standby hosts", load_fields, loads)
    sheet.conditional_formatting.add(f"H2:H{max(2, 1 + len(drill.loads))}", styles.when("$H2>0", "bad"))
