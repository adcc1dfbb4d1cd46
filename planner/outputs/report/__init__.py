"""The plan as one HTML file that opens anywhere, offline: map, hosts, drill, assignments, charts, and what to watch.

Bokeh draws map and charts; its script comes from its package and is inlined when the report is written. The table is
our own: Bokeh's shows only what is scrolled to, so it neither prints nor sorts by keyboard.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from planner.fleet import Fleet
from planner.outputs.atomic import write_text
from planner.plan import Plan

if TYPE_CHECKING:
    from planner.differences import Difference
    from planner.explain import BudgetPoint
    from planner.verify import Violation


def write_report(
    fleet: Fleet,
    plan: Plan,
    path: str | os.PathLike[str],
    *,
    violations: Sequence[Violation] = (),
    curve: Sequence[BudgetPoint] = (),
    difference: Difference | None = None,
) -> None:
    """Write ``plan`` of ``fleet`` as one self-contained HTML file.

    ``violations`` (of `planner.verify`) are shown on top; ``curve`` (of `planner.budget_curve`) as a chart, which is
    left out when it is empty; ``difference`` (of `planner.compare`) as a section on what changed. Raises InputError
    when ``path`` cannot be written.
    """
    # Bokeh takes a second to import: only those who want a report wait for it.
    from planner.outputs.report.page import report_html

    write_text(path, report_html(fleet, plan, violations=violations, curve=curve, difference=difference))
