"""What a plan is handed over in: workbook and report for people, files for other programs; and an empty fleet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.outputs.availability_sheets import write_availability_workbook
    from planner.outputs.calendar import rollout_to_calendar, write_calendar
    from planner.outputs.csv_tables import write_csv
    from planner.outputs.drill_sheets import write_drill_workbook
    from planner.outputs.geojson import plan_to_geojson, write_geojson
    from planner.outputs.how_sure import headline
    from planner.outputs.markdown import plan_to_markdown, write_markdown
    from planner.outputs.plan_json import check_to_json, plan_to_json, write_json
    from planner.outputs.plan_sentences import CAUTIONS, survives
    from planner.outputs.read_plan import read_plan
    from planner.outputs.readiness_sheet import write_readiness
    from planner.outputs.repaired import write_repaired
    from planner.outputs.report import write_report
    from planner.outputs.rollout_workbook import write_rollout_workbook
    from planner.outputs.template import write_template
    from planner.outputs.workbook import write_workbook

__all__ = [
    "CAUTIONS",
    "check_to_json",
    "headline",
    "plan_to_geojson",
    "plan_to_json",
    "plan_to_markdown",
    "read_plan",
    "rollout_to_calendar",
    "survives",
    "write_availability_workbook",
    "write_calendar",
    "write_csv",
    "write_drill_workbook",
    "write_geojson",
    "write_json",
    "write_markdown",
    "write_readiness",
    "write_repaired",
    "write_report",
    "write_rollout_workbook",
    "write_template",
    "write_workbook",
]

_HOMES = {
    "CAUTIONS": "plan_sentences",
    "check_to_json": "plan_json",
    "headline": "how_sure",
    "plan_to_geojson": "geojson",
    "plan_to_json": "plan_json",
    "plan_to_markdown": "markdown",
    "read_plan": "read_plan",
    "rollout_to_calendar": "calendar",
    "survives": "plan_sentences",
    "write_availability_workbook": "availability_sheets",
    "write_calendar": "calendar",
    "write_csv": "csv_tables",
    "write_drill_workbook": "drill_sheets",
    "write_geojson": "geojson",
    "write_json": "plan_json",
    "write_markdown": "markdown",
    "write_readiness": "readiness_sheet",
    "write_repaired": "repaired",
    "write_report": "report",
    "write_rollout_workbook": "rollout_workbook",
    "write_template": "template",
    "write_workbook": "workbook",
}
__getattr__ = on_demand(__name__, _HOMES)
