"""Availability as sheets: a page of figures and assumptions, and a table by site."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from planner.outputs import cellsafe, headings, styles
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import Page, title_page

if TYPE_CHECKING:
    from planner.resilience import Availability

_NAMED_SHOWN = 10
PART_WORDS = {
    "node": "one of the two nodes",
    "site_uplink": "the site's uplink",
    "hub_uplink": "the hub's uplink",
    "hub": "the hub",
    "host": "the host",
}


def write_availability_workbook(found: Availability, path: str | os.PathLike[str]) -> None:
    """Write the sheets as a workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    write_availability(book, found)
    book.save(path)


def write_availability(book: Book, found: Availability) -> None:
    """Add the page of the fleet and the table of its sites, those of most down time first."""
    page = title_page(book, headings.AVAILABILITY, "Availability of the clusters", headline(found))
    _missing(page, found)
    if found.sites:
        _figures(page, found)
        _parts(page, found)
        _together(page, found)
        page.section("What is assumed")
        for number, assumption in enumerate(found.assumptions, start=1):
            page.whole_row(f"{number}. {assumption}")
    if found.sites:
        _write_sites(book, found)


def headline(found: Availability) -> str:
    """Return the result in a sentence."""
    if found.mean_availability is None:
        return "Nothing was computed: figures are missing, and none are assumed."
    mean = found.cluster_minutes / found.clusters
    words = (
        f"A cluster is expected to be down for {mean:,.1f} minutes a year on average ({found.mean_availability:.5%} up)"
    )
    if found.covered_cluster_minutes is None:
        return words + "."
    return f"{words}, with cover for {found.covered_cluster_minutes / found.clusters:,.1f} minutes."


def _missing(page: Page, found: Availability) -> None:
    if not (found.missing or found.notes):
        return
    page.section("What is missing")
    for missing in found.missing:
        page.whole_row(missing.words)
    if found.left_out:
        page.whole_row(f"{found.left_out:,} sites are left out, because figures are missing.")
    for note in found.notes:
        page.whole_row(note)


def _figures(page: Page, found: Availability) -> None:
    page.section("The fleet in figures")
    page.row("Clusters", found.clusters, "", styles.COUNT)
    page.row("Mean availability", found.mean_availability, "Share of the year that a cluster is up.", styles.NINES)
    page.row("Down, in all", found.cluster_minutes, "Cluster-minutes a year, without re-homing.", styles.MINUTES)
    if found.covered_cluster_minutes is not None:
        gain = found.cluster_minutes - found.covered_cluster_minutes
        page.row("Down, with cover", found.covered_cluster_minutes, "Cluster-minutes a year.", styles.MINUTES)
        page.row("Gain from cover", gain, f"With re-homing in {found.rehoming_minutes:g} minutes.", styles.MINUTES)


def _parts(page: Page, found: Availability) -> None:
    page.section("Down time that would be avoided if a part never failed")
    page.whole_row(
        "A cluster stops when two parts fail. Each outage counts for both, so shares add up to over 100 %.", styles.NOTE
    )
    cell_styles = (styles.TEXT, styles.TEXT, styles.MINUTES, styles.SHARE)
    page.table_row(("part", "name", "minutes", "share"), [styles.heading_of(style) for style in cell_styles])
    kinds = [share for share in found.parts if not share.name]
    named = [share for share in found.parts if share.name][:_NAMED_SHOWN]
    for share in (*kinds, *named):
        row = (
            PART_WORDS[share.part],
            cellsafe.one_line(share.name) or "all of them",
            share.cluster_minutes,
            share.share,
        )
        page.table_row(row, cell_styles)


def _together(page: Page, found: Availability) -> None:
    if not found.together:
        return
    page.section("Clusters down at the same time, minutes a year")
    cell_styles = (styles.COUNT, styles.MINUTES, styles.MINUTES, styles.MINUTES)
    heads = ("clusters down together, at least", "down", "no vote")
    page.table_row(heads, [styles.heading_of(style) for style in cell_styles[:3]])
    for row in found.together:
        page.table_row((row.clusters, row.down_minutes, row.without_vote_minutes), cell_styles[:3])


def _write_sites(book: Book, found: Availability) -> None:
    fields = (
        Field(headings.SITE),
        Field(headings.CLUSTERS, styles.COUNT),
        Field(headings.HOST, most=30),
        Field("availability of a cluster", styles.NINES, least=19),
        Field("minutes a year down", styles.MINUTES, least=17),
        Field("any cluster down, minutes", styles.MINUTES, least=20),
        Field("third vote out of reach, minutes", styles.MINUTES, least=20),
        Field("minutes down with cover", styles.MINUTES, least=19),
        Field("gain from cover", styles.MINUTES, least=14),
    )
    rows = (
        (
            site.site,
            site.clusters,
            ", ".join(site.hosts) or "none",
            site.availability,
            site.minutes,
            site.any_minutes,
            site.vote_minutes,
            site.covered_minutes,
            None if site.covered_minutes is None else site.minutes - site.covered_minutes,
        )
        for site in sorted(found.sites, key=lambda site: (-site.minutes, site.site))
    )
    write_table(book, headings.SITE_AVAILABILITY, fields, rows)
