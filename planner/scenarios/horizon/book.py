"""The workbook of a horizon: summary, periods with the chart of load against capacity, hosts, purchases, moves."""

from __future__ import annotations

import os

from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import cellsafe, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import title_page
from planner.scenarios.book_parts import add_notes, end_summary, in_title
from planner.scenarios.charts import COLOURS, dress
from planner.scenarios.horizon.horizon_sentences import headline, moves_in_words
from planner.scenarios.horizon.horizon_steps import Horizon

_TITLE = "Horizon of tie-breaker hosts"
_PERIOD = Field("period", least=10)
_HOSTS = Field("hosts", styles.COUNT)


def write_horizon_workbook(found: Horizon, path: str | os.PathLike[str]) -> None:
    """Write the horizon as an .xlsx workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    _write_summary(book, found)
    _write_periods(book, found)
    _write_hosts(book, found)
    purchases: list[list[Value]] = []
    for step in found.steps:
        rows = (("bought", step.bought), ("moved in", step.moved_in), ("taken out", step.retired))
        due = dict(step.order_by)
        for what, pools in rows:
            ordered = due if what == "bought" else {}
            purchases += [[step.period.name, ordered.get(p), step.period.first, what, p, n] for p, n in pools]
    order_by = Field("order by", styles.DATE, least=12)
    fields = (_PERIOD, order_by, Field("needed by", styles.DATE, least=12), Field("what"), Field("pool"), _HOSTS)
    write_table(book, "Purchases", fields, purchases)
    moves = [(step.period.name, *move) for step in found.steps for move in step.moves]
    write_table(book, "Moves", (_PERIOD, Field("site"), Field("from host"), Field("to host")), moves)
    book.save(path, _TITLE, found.version)


def _write_summary(book: Book, found: Horizon) -> None:
    page = title_page(book, "Summary", _TITLE, headline(found))
    page.section("The next host")
    needed = found.next_host
    if needed is None:
        page.whole_row("You need to buy no host in these periods.")
    else:
        page.row("Needed by", needed.day, f"in period {needed.period}", styles.DATE)
        if needed.order_by is not None:
            page.row("Order by", needed.order_by, "for the first of these hosts", styles.DATE)
        page.text_row("Where", cellsafe.one_line(", ".join(needed.pools)))
        page.text_row("Why", cellsafe.one_line(needed.words))
        for delay in needed.delays:
            page.text_row("What would make it later", cellsafe.one_line(delay))
    page.section("How to read it")
    page.text_row("load and capacity", "Clusters to serve, and clusters that all hosts can carry, in each period.")
    page.text_row(
        "fewest hosts",
        "Fewest hosts that are enough for this period alone. Hosts bought for other periods stay.",
    )
    page.text_row("moves", "Sites whose host changes. No site leaves a pool if it can stay there.")
    page.text_row("standing", "Hosts of today and those bought, whether the period needs them or not.")
    page.text_row("periods", "A site counts for the whole period it is open in; a hub must be open for all of it.")
    add_notes(page, "What to know", found.notes)
    end_summary(page, found)


def _write_periods(book: Book, found: Horizon) -> None:
    priced = found.worth is not None
    money = found.currency or "money"
    fields = [
        _PERIOD,
        Field("first day", styles.DATE, least=12),
        Field("last day", styles.DATE, least=12),
        Field("sites", styles.COUNT),
        Field("load (clusters)", styles.COUNT),
        Field("capacity (clusters)", styles.COUNT),
        Field("existing hosts", styles.COUNT),
        Field("fewest hosts", styles.COUNT),
        Field("bought", styles.COUNT),
        Field("moves", styles.COUNT),
        Field("unserved", styles.COUNT),
        *([Field(f"paid {money}", styles.MONEY, least=14), Field("value today", styles.MONEY, least=14)] * priced),
        Field("why sites move", least=24, most=60),
    ]
    rows: list[list[Value]] = []
    for step in found.steps:
        row: list[Value] = [step.period.name, step.period.first, step.period.last, step.sites, step.clusters, step.room]
        row += [step.standing, step.least, sum(n for _, n in step.bought), len(step.moves), len(step.unserved)]
        rows.append([*row, *([step.cost, step.worth] * priced), moves_in_words(step)])
    sheet = write_table(book, "Periods", fields, rows)
    _add_chart(sheet, len(rows) + 1, f"Load against capacity{in_title(' of ', found.sources)}")


def _add_chart(sheet: Worksheet, last: int, title: str) -> None:
    load, room = BarChart(), LineChart()
    for chart, column, colour in ((load, 5, COLOURS[0]), (room, 6, COLOURS[1])):
        chart.add_data(Reference(sheet, min_col=column, min_row=1, max_row=last), titles_from_data=True)
        chart.set_categories(Reference(sheet, min_col=1, min_row=2, max_row=last))
        chart.series[0].graphicalProperties.solidFill = colour
        chart.series[0].graphicalProperties.line.solidFill = colour
    dress(load, title, "", "clusters")
    load.y_axis.scaling.min = 0
    load += room
    sheet.add_chart(load, f"A{last + 3}")


def _write_hosts(book: Book, found: Horizon) -> None:
    pools = sorted({pool for step in found.steps for pool, _ in step.hosts})
    fields = (Field("pool"), *(Field(step.period.name, styles.COUNT) for step in found.steps))
    running = [dict(step.hosts) for step in found.steps]
    write_table(book, "Hosts", fields, [[pool, *(hosts.get(pool, 0) for hosts in running)] for pool in pools])
