"""What the manual says that outputs of a plan say stands in each of them, in the same words."""

import html
import json
import re

import openpyxl
import pytest

from planner.intake import read_fleet
from planner.outputs.how_sure import headline, later_aims_in_words
from planner.outputs.plan_sentences import left_in_place_in_words
from planner.outputs.read_plan import read_plan


@pytest.fixture
def outputs(call, fleets, tmp_path):
    """Everything that a plan with a site left out on a host of today is told in, as plain text; and its sentences."""
    fleet = fleets.write(
        Sites=[["site", "release"], *([f"000{n}", "8.2"] for n in range(1, 5))],
        Hubs=[["hub", "max_hosts", "existing_hosts", "host_release"], ["ESK", 2, 2, "8.2"]],
        Latency=[["site", "ESK"], *([f"000{n}", 12] for n in range(1, 4)), ["0004", 61]],
        Current=[["site", "hub", "host"], ["0001", "ESK", "ESK-01"], ["0004", "ESK", "ESK-02"]],
    )
    told = {"plan": call("plan", fleet, "-o", "plan.xlsx", "--json", "plan.json", "--report", "plan.html").out}
    told["ticket"] = call("export", fleet, "plan.xlsx", "--markdown", "-").out.replace("\\", "")
    told["rollout"] = call("rollout", fleet, "plan.json", "-o", "rollout.xlsx").out
    told["explain"] = call("explain", fleet).out
    told["explain --json"] = json.loads(call("explain", fleet, "--json", "-").out)["headline"]
    told["plan.json"] = json.loads((tmp_path / "plan.json").read_text())["headline"]
    page = re.sub("<script.*?</script>|<[^>]*>", " ", (tmp_path / "plan.html").read_text(encoding="utf-8"), flags=re.S)
    told["report"] = html.unescape(page)
    for name, sheet in (("plan", "Summary"), ("rollout", "Overview")):
        rows = openpyxl.load_workbook(f"{name}.xlsx")[sheet].iter_rows(values_only=True)
        told[f"{name}.xlsx"] = " ".join(str(cell) for row in rows for cell in row if cell is not None)
    told = {name: " ".join(text.split()) for name, text in told.items()}
    inventory, plan = read_fleet(fleet), read_plan("plan.json")
    return told, headline(plan), left_in_place_in_words(inventory, plan), later_aims_in_words(plan)


def test_each_output_says_what_the_readme_promises(outputs):
    told, first, stay, among_equals = outputs
    assert "1 site is not served (it has a host today)" in first
    for name in ("plan", "ticket", "explain", "explain --json", "plan.json", "report", "plan.xlsx"):
        assert first in told[name], name
    assert "So ESK-02 keeps running beside the plan" in stay
    for name in ("plan", "ticket", "rollout", "report", "plan.xlsx", "rollout.xlsx"):
        assert stay in told[name], name
    for name in ("plan", "ticket", "report", "plan.xlsx"):
        assert among_equals in told[name], name
