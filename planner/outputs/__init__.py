"""What a plan is handed over in: a workbook for people, plan.json for programs; and an empty fleet to fill in."""

from planner.outputs.availability_sheets import write_availability_workbook
from planner.outputs.drill_sheets import write_drill_workbook
from planner.outputs.plan_json import check_to_json, plan_to_json, write_json
from planner.outputs.read_plan import read_plan
from planner.outputs.readiness_sheet import write_readiness
from planner.outputs.repaired import write_repaired
from planner.outputs.template import write_template
from planner.outputs.words import CAUTIONS, headline, survives
from planner.outputs.workbook import write_workbook

__all__ = [
    "CAUTIONS",
    "check_to_json",
    "headline",
    "plan_to_json",
    "read_plan",
    "survives",
    "write_availability_workbook",
    "write_drill_workbook",
    "write_json",
    "write_readiness",
    "write_repaired",
    "write_template",
    "write_workbook",
]
