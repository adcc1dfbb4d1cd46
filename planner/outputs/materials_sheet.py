"""Sheets Materials and Budget of the rollout workbook: what to buy and by when, and what is paid by year and owner."""

from __future__ import annotations

from collections.abc import Iterator

from planner.outputs import headings, styles
from planner.outputs.cellsafe import Value, plain
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.rollout_facts import RolloutFacts

_WORDS = {"host": "host", "own_tie_breaker": "own tie-breaker", "spare_host": "spare host"}


def write_materials(book: Book, facts: RolloutFacts) -> None:
    """Add both sheets, where there is something to buy or to visit."""
    money = facts.fleet.policy.currency or "money"
    if facts.rollout.materials:
        write_table(book, headings.MATERIALS, _material_fields(money), _materials(facts))
    if facts.rollout.budget:
        write_table(book, headings.BUDGET_BY_YEAR, _budget_fields(money), _budget(facts))


def _material_fields(money: str) -> tuple[Field, ...]:
    return (
        Field("order by", styles.DATE, least=12),
        Field("day of the order", most=22),
        Field("needed on", styles.DATE, least=12),
        Field(headings.WAVE, styles.COUNT),
        Field("item"),
        Field("number", styles.COUNT),
        Field("hub or site"),
        Field(headings.POOL),
        Field("hosts", most=40),
        Field("owner", most=28),
        Field(f"buying {money}", styles.MONEY, least=14),
        Field(f"running {money} a year", styles.MONEY, least=14),
    )


def _budget_fields(money: str) -> tuple[Field, ...]:
    return (
        Field("year"),
        Field("owner", most=28),
        Field("hosts", styles.COUNT),
        Field("own tie-breakers", styles.COUNT),
        Field("visits", styles.COUNT),
        Field(f"buying {money}", styles.MONEY, least=14),
        Field(f"visiting {money}", styles.MONEY, least=14),
        Field(f"running {money} a year", styles.MONEY, least=14),
    )


def _materials(facts: RolloutFacts) -> Iterator[tuple[Value, ...]]:
    for one in facts.rollout.materials:
        named = "; ".join(one.names)
        yield (one.order_by, one.order_state or None, one.needed_on, one.wave, _WORDS[one.item], one.number, one.place,
               one.pool, named, plain(one.owner), one.buy, one.yearly)  # fmt: skip


def _budget(facts: RolloutFacts) -> Iterator[tuple[Value, ...]]:
    for one in facts.rollout.budget:
        year = "not planned yet" if one.year is None else str(one.year)
        yield (year, plain(one.owner), one.hosts, one.own_tie_breakers, one.visits, one.buying, one.visiting,
               one.running)  # fmt: skip
