"""The plan as one HTML file that opens anywhere, offline: map, hosts, drill, assignments, charts, and what to heed.

Bokeh draws map and charts; its script comes from its package and is inlined when the report is written. The table is
our own: Bokeh's shows only what is scrolled to, so it neither prints nor sorts by keyboard.
"""

from planner.outputs.report.page import report_html, write_report

__all__ = ["report_html", "write_report"]
