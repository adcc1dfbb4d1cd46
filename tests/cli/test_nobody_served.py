"""Fleets in which nobody uses a shared host: all output is there, and every figure in it is a number."""

import json

import pytest
from openpyxl import load_workbook

HUBS = [["hub", "host_cost"], ["ALDER", 100]]
POLICY = [["latency_budget_ms", 20], ["then", "margin spread moves latency"]]
TOO_FAR = {
    "Sites": [["site"], ["M01"], ["M02"]],
    "Hubs": HUBS,
    "Latency": [["site", "hub", "rtt_ms"], ["M01", "ALDER", 50], ["M02", "ALDER", 60]],
    "Policy": [["setting", "value"], *POLICY],
}
OWN = {**TOO_FAR, "Sites": [["site", "own_tie_breaker"], ["M01", "yes"], ["M02", "yes"]]}
POSSIBLE = {
    **TOO_FAR,
    "Sites": [["site", "own_tie_breaker", "own_tie_breaker_cost"], ["M01", "possible", 5], ["M02", "possible", 5]],
    "Latency": [["site", "hub", "rtt_ms"], ["M01", "ALDER", 5], ["M02", "ALDER", 6]],
}
COMMANDS = (
    ("plan", "{fleet}", "-o", "p.xlsx", "--json", "p.json", "--report", "p.html", "--compare-cover"),
    ("check", "{fleet}", "--json", "-"),
    ("verify", "{fleet}", "p.json", "--json", "-"),
    ("explain", "{fleet}", "--json", "-"),
    ("drill", "{fleet}", "p.json", "-o", "d.xlsx", "--json", "-"),
    ("rollout", "{fleet}", "p.json", "-o", "r.xlsx", "--json", "r.json"),
    ("plan", "{fleet}", "--drain", "ALDER", "--trade-off", "-o", "n.xlsx", "--json", "n.json"),
    ("sweep", "{fleet}", "--vary", "cluster_cap=1,2", "--jobs", "1", "--aims", "-o", "s.xlsx", "--json", "s.json"),
    ("horizon", "{fleet}", "--from", "2027-01-01", "--periods", "2", "-o", "h.xlsx", "--json", "h.json"),
    ("designs", "{fleet}", "-o", "e.xlsx", "--json", "e.json"),
    ("export", "{fleet}", "p.json", "--geojson", "g.geojson"),
)


def strict(text):
    """Return JSON text as data; NaN and Infinity, which are no JSON, are refused."""

    def refuse(word):
        raise AssertionError(f"{word} in JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize(
    ("sheets", "commands"),
    [(TOO_FAR, COMMANDS), (OWN, COMMANDS[:1]), (POSSIBLE, COMMANDS[:1])],
    ids=["too_far", "own", "possible"],
)
def test_all_that_comes_out_is_valid(call, fleets, tmp_path, sheets, commands):
    fleet = fleets.write(**sheets)
    for command in commands:
        done = call(*(part.format(fleet=fleet) for part in command))
        assert done.code in (0, 1), (command, done.err)
        if command[-2:] == ("--json", "-"):
            strict(done.out)
    for path in (*tmp_path.glob("*.json"), *tmp_path.glob("*.geojson")):
        strict(path.read_text(encoding="utf-8"))
    for path in tmp_path.glob("*.xlsx"):
        cells = [cell for sheet in load_workbook(path) for row in sheet.iter_rows(values_only=True) for cell in row]
        assert not {"inf", "nan", "-inf"} & {str(cell).casefold() for cell in cells}


def test_a_plan_in_which_nobody_uses_a_shared_host_has_no_margin(call, fleets):
    fleet = fleets.write(**TOO_FAR)
    plan = strict(call("plan", fleet, "--json", "-").out)
    assert [aim["aim"] for aim in plan["aims"]] == ["served", "hosts", "spread", "latency"]
