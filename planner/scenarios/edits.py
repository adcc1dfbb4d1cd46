"""Scenario -> changed fleet; the fleet at hand stays as it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from planner import columns
from planner.columns import Column, Sheet
from planner.errors import InputError
from planner.fleet import Bools, Finding, Fleet, Floats, positions, typed_table
from planner.intake.findings import Findings
from planner.intake.frames import table_of_policy
from planner.intake.policy import read_policy
from planner.scenarios.growth import grown
from planner.scenarios.sweep_results import Edit, Scenario
from planner.scenarios.values import changed_numbers, is_relative, read_value

SETTINGS = {setting.name: setting for setting in columns.SETTINGS}
TABLES: dict[str, tuple[str, Sheet, str]] = {
    "Sites": ("sites", columns.SITES, "site"),
    "Hubs": ("pools", columns.HUBS, "pool"),
}
# What a blank of these columns stands for, so that relative values start from what counts.
_IN_FORCE: dict[tuple[str, str], Callable[[Fleet], Any]] = {
    ("Sites", "clusters"): lambda fleet: fleet.clusters,
    ("Sites", "weight"): lambda fleet: fleet.weights,
    ("Sites", "latency_budget_ms"): lambda fleet: fleet.budgets_ms,
    ("Sites", "own_tie_breaker_cost"): lambda fleet: fleet.own_tie_breaker_running_costs,
    ("Hubs", "max_hosts"): lambda fleet: fleet.max_hosts,
    ("Hubs", "existing_hosts"): lambda fleet: fleet.existing_hosts,
    ("Hubs", "cluster_cap"): lambda fleet: fleet.cluster_caps,
    ("Hubs", "host_cost"): lambda fleet: fleet.host_running_costs,
}


def column_of(edit: Edit) -> Column:
    """Return the setting or column that ``edit`` changes; KeyError when there is none of that name."""
    return SETTINGS[edit.column] if edit.sheet == "Policy" else TABLES[edit.sheet][1].column(edit.column)


def changed_fleet(fleet: Fleet, scenario: Scenario) -> Fleet:
    """Return ``fleet`` as it would be in ``scenario``: closures, then new hubs, then growth, then edits in their order.

    Raises InputError where the scenario names what is not there, or leaves a fleet that cannot be planned.
    """
    fleet = _closed(fleet, scenario)
    for row in scenario.new_hubs:
        fleet = _with_hub(fleet, dict(row), scenario)
    if scenario.growth is not None:
        fleet = grown(fleet, scenario.growth)
    for edit in scenario.edits:
        fleet = _edited(fleet, edit, scenario)
    _check(fleet, scenario)
    return fleet


def wrong(scenario: Scenario, message: str, hint: str = "") -> InputError:
    """Return the error that names the scenario."""
    return InputError((Finding("error", "scenario_wrong", scenario.name, message, hint),))


def _closed(fleet: Fleet, scenario: Scenario) -> Fleet:
    """Take sites out of the table; hubs stay in it without room for hosts, so that pins to them still bind."""
    for ids, known, noun in (
        (scenario.closed_sites, fleet.site_ids, "site"),
        (scenario.closed_hubs, fleet.hub_ids, "hub"),
    ):
        missing = sorted(set(ids).difference(known))
        if missing:
            raise wrong(scenario, f"The fleet has no {noun} {', '.join(missing)}.", "Correct the id.")
    if scenario.closed_sites:
        gone = fleet.sites["site"].isin(scenario.closed_sites)
        fleet = fleet.replace(sites=fleet.sites[~gone].reset_index(drop=True))
    if scenario.closed_hubs:
        pools = fleet.pools.copy()
        pools.loc[pools["hub"].isin(scenario.closed_hubs), ["max_hosts", "existing_hosts"]] = 0.0
        fleet = fleet.replace(pools=pools)
    return fleet


def _with_hub(fleet: Fleet, row: dict[str, str], scenario: Scenario) -> Fleet:
    """Add a pool at a new hub, with the round-trip times of the hub that ``rtt_like`` names."""
    like = row.pop("rtt_like", "")
    row.setdefault("pool", row.get("hub", ""))
    if row.get("hub", "") in ("", *fleet.hub_ids) or row["pool"] in fleet.pool_ids:
        raise wrong(scenario, f"A new hub needs an id of its own; this one is {row.get('hub') or 'blank'}.")
    findings = Findings()
    values = {
        name: [read_value(columns.HUBS.column(name), text, f"new hub {name}", findings)] for name, text in row.items()
    }
    if findings.any_error:
        raise InputError(findings.result())
    pools = pd.concat((fleet.pools, typed_table(columns.HUBS, values, 1)), ignore_index=True)
    changes: dict[str, Any] = {"pools": pools}
    if like:
        if like not in fleet.hub_ids:
            raise wrong(scenario, f"rtt_like names the hub {like}, which the fleet does not have.", "Correct the id.")
        for name in ("latency", "samples"):
            table: pd.DataFrame = getattr(fleet, name)
            copies = table[table["hub"] == like].assign(hub=row["hub"])
            changes[name] = pd.concat((table.assign(hub=table["hub"].astype(object)), copies), ignore_index=True)
    return fleet.replace(**changes)


def _edited(fleet: Fleet, edit: Edit, scenario: Scenario) -> Fleet:
    column = column_of(edit)
    if edit.sheet == "Policy":
        return fleet.replace(policy=fleet.policy.replace(**{edit.column: _setting(fleet, edit, column, scenario)}))
    name, _, key = TABLES[edit.sheet]
    table: pd.DataFrame = getattr(fleet, name).copy()
    rows = _rows(table, edit, key, scenario)
    if is_relative(column, edit.value):
        in_force = _IN_FORCE.get((edit.sheet, edit.column))
        before = table[edit.column] if in_force is None else in_force(fleet)
        after = changed_numbers(column, edit.value, np.asarray(before, dtype=np.float64))
        table[edit.column] = np.where(rows, after, table[edit.column])
    else:
        value = _read(edit, column)
        table[edit.column] = pd.Series(
            [value if row else old for row, old in zip(rows, table[edit.column], strict=True)],
            dtype=table[edit.column].dtype,
        )
    return fleet.replace(**{name: table})


def _rows(table: pd.DataFrame, edit: Edit, key: str, scenario: Scenario) -> Bools:
    """Return the rows that ``edit`` speaks of."""
    if edit.rows == "*":
        return np.ones(len(table), dtype=np.bool_)
    rows: Bools = (table[key] == edit.rows).to_numpy(dtype=np.bool_)
    if edit.sheet == "Hubs":
        rows = rows | (table["hub"] == edit.rows).to_numpy(dtype=np.bool_)
    name, equals, wanted = edit.rows.partition("=")
    if not rows.any() and equals and name in table:
        rows = (table[name].astype(str) == wanted).to_numpy(dtype=np.bool_)
    if not rows.any():
        raise wrong(scenario, f"The sheet {edit.sheet} has no row {edit.rows}.", "Give an id, * or column=value.")
    return rows


def _setting(fleet: Fleet, edit: Edit, column: Column, scenario: Scenario) -> Any:
    if is_relative(column, edit.value):
        before = getattr(fleet.policy, edit.column)
        if before is None:
            raise wrong(scenario, f"{edit.column} is not set, so {edit.value} cannot be applied to it.", "Set it.")
        after = float(changed_numbers(column, edit.value, np.array([before], dtype=np.float64))[0])
        return int(after) if column.kind == "whole" else after
    findings = Findings()
    policy = read_policy([table_of_policy({edit.column: edit.value})], findings).policy
    if findings.any_error:
        raise InputError(findings.result())
    return getattr(policy, edit.column)


def _read(edit: Edit, column: Column) -> Any:
    findings = Findings()
    value = read_value(column, edit.value, f"{edit.sheet} {edit.column}", findings)
    if findings.any_error:
        raise InputError(findings.result())
    return value


def _check(fleet: Fleet, scenario: Scenario) -> None:
    """Refuse what intake would refuse: figures that every plan needs and the changes left blank or out of place."""
    needs = (fleet.clusters > 0) & (fleet.own_tie_breaker != "yes")
    if np.isnan(fleet.budgets_ms[needs]).any():
        raise wrong(scenario, "Some sites have no latency budget.", "Set latency_budget_ms.")
    hubs = positions(fleet.sites["pinned_hub"], fleet.hub_ids)
    if ((fleet.sites["pinned_hub"] != "").to_numpy() & (hubs < 0)).any():
        raise wrong(scenario, "A pinned hub is not in the fleet.", "Correct the id.")
    if fleet.policy.objective != "cost":
        return
    own: Floats = fleet.own_tie_breaker_costs[(fleet.own_tie_breaker == "possible") & (fleet.clusters > 0)]
    if np.isnan(fleet.host_costs).any() or np.isnan(own).any():
        hint = "Set host_cost and own_tie_breaker_cost, or fill in the sheet Prices."
        raise wrong(scenario, "The objective is cost, but a price is missing.", hint)
