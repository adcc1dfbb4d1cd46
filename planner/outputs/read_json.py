"""plan.json -> Plan."""

from __future__ import annotations

import json
from typing import Any, get_args

from planner.fleet import Finding, Severity, Source
from planner.outputs.json_record import Log, Record
from planner.outputs.plan_json import FORMAT
from planner.plan import (
    Action,
    Aim,
    Assignment,
    Cover,
    CoverPrice,
    Evidence,
    Host,
    Known,
    MeasureFirst,
    NoHostNeeded,
    Objective,
    Outcome,
    Plan,
    Proof,
    Reason,
    Spared,
    Status,
    Uncovered,
    Unserved,
)

# What versions before 2026-11-29 called a plan with unserved sites, however good it was.
OLD_STATUS = "infeasible"
_NEEDED = ("format", "status", "objective", "lower_bound", "host_list", "assignments", "unserved")


def plan_from_json(content: bytes, file: str) -> tuple[Plan | None, list[Finding]]:
    """Return the plan that ``content`` holds and what is wrong with it; no plan where it is none at all.

    ``file`` is the name that findings give. Keys that are not known are passed over.
    """
    log = Log(file)
    data = _parsed(content, log)
    return (None if data is None else _plan(Record(data, "", log))), log.findings


def _plan(record: Record) -> Plan:
    objective = record.choice("objective", get_args(Objective))
    hosts = record.records("host_list", _host)
    aims = record.records("aims", _aim)
    at = next((number for number, aim in enumerate(aims) if aim.aim == objective), len(aims))
    return Plan(
        status=record.choice("status", get_args(Status)),
        objective=objective,
        objective_value=record.number("objective_value", float(len(hosts)) if objective == "hosts" else None),
        lower_bound=record.number("lower_bound"),
        host_list=hosts,
        assignments=record.records("assignments", _assignment),
        unserved=record.records("unserved", _unserved),
        no_host_needed=record.records("no_host_needed", _no_host_needed),
        cover_prices=record.records("cover_prices", _cover_price),
        uncovered=record.records("uncovered", lambda one: Uncovered(one.text("site"), _reasons(one))),
        proof=_proof(record),
        before=aims[:at],
        then=aims[at + 1 :],
        measure_first=record.records("measure_first", _measure_first),
        findings=record.records("findings", _finding),
        policy=record.mapping("policy"),
        seconds=record.mapping("seconds"),
        sources=record.records("sources", lambda source: Source(source.text("name", ""), source.text("sha256", ""))),
        version=record.text("version", ""),
        fleet_id=record.text("fleet_id", ""),
        number=record.whole("number", 1),
        follows=record.text("follows", ""),
        emptied=record.texts("emptied"),
        extra_hosts=record.whole("extra_hosts", 0),
    )


def _parsed(content: bytes, log: Log) -> dict[str, Any] | None:
    try:
        data = json.loads(content.decode("utf-8-sig"), parse_constant=_refuse)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        log.error("not_json", where, f"this is neither a workbook nor JSON: {error.msg}.", "Name a plan file.")
        return None
    except (ValueError, RecursionError) as error:
        log.error("not_json", "", f"this is neither a workbook nor the JSON of a plan: {error}.", "Name a plan file.")
        return None
    if not isinstance(data, dict):
        log.error("not_a_plan", "", "the file is JSON, but it does not hold a plan.")
        return None
    missing = [key for key in _NEEDED if key not in data]
    for key in missing:
        log.error("key_missing", key, f"the key {key} is missing.", "Write the plan again with castingvote.")
    if missing:
        return None
    if data["status"] == OLD_STATUS:
        data["status"] = "feasible"
    if data["format"] != FORMAT:
        hint = "Read it with the castingvote that wrote it, or a newer one."
        log.error("format_unknown", "format", f"format {data['format']!r} is not {FORMAT}, the one known here.", hint)
        return None
    return data


def _refuse(constant: str) -> Any:
    raise ValueError(f"{constant} is no JSON number")


def _host(record: Record) -> Host:
    cap = record.whole("cap")
    return Host(
        host=record.text("host"),
        hub=record.text("hub"),
        pool=record.text("pool"),
        release=record.text("release", ""),
        clusters=record.whole("clusters"),
        cap=cap,
        usable=record.whole("usable", cap),
        existing=record.flag("existing"),
    )


def _assignment(record: Record) -> Assignment:
    moved_from = record.text("moved_from", "") or None
    return Assignment(
        site=record.text("site"),
        host=record.text("host"),
        hub=record.text("hub"),
        clusters=record.whole("clusters"),
        rtt_ms=record.number("rtt_ms"),
        budget_ms=record.number("budget_ms"),
        evidence=record.choice("evidence", get_args(Evidence)),
        standby=record.text("standby", "") or None,
        moved_from=moved_from,
        action=record.choice("action", get_args(Action), "move" if moved_from else "attach"),
        standby_rtt_ms=record.optional_number("standby_rtt_ms"),
        measured_at=record.text("measured_at", "") or None,
        rtt_low_ms=record.optional_number("rtt_low_ms"),
        rtt_high_ms=record.optional_number("rtt_high_ms"),
    )


def _unserved(record: Record) -> Unserved:
    return Unserved(
        record.text("site"),
        record.whole("clusters", 1),
        _reasons(record),
        record.text("remedy", ""),
        record.text("current", "") or None,
    )


def _reasons(record: Record) -> tuple[Reason, ...]:
    return record.records("reasons", lambda reason: Reason(reason.text("code"), reason.text("detail", "")))


def _cover_price(record: Record) -> CoverPrice:
    return CoverPrice(
        record.choice("cover", get_args(Cover)),
        record.whole("hosts"),
        record.number("objective_value"),
        record.number("lower_bound"),
        record.whole("served"),
        record.whole("covered"),
        record.whole("alike", 0),
        record.number("alike_value", 0.0),
        record.number("alike_bound", 0.0),
        None if (moves := record.optional_number("moves")) is None else int(moves),
        moves is not None and record.flag("moves_proven"),
    )


def _no_host_needed(record: Record) -> NoHostNeeded:
    return NoHostNeeded(record.text("site"), record.choice("why", get_args(Spared)))


def _aim(record: Record) -> Aim:
    return Aim(record.text("aim"), record.number("value"), record.number("bound"), record.flag("proven"))


def _measure_first(record: Record) -> MeasureFirst:
    return MeasureFirst(
        rank=record.whole("rank"),
        site=record.text("site"),
        hub=record.text("hub"),
        evidence=record.choice("evidence", get_args(Known)),
        rtt_ms=record.optional_number("rtt_ms"),
        budget_ms=record.number("budget_ms"),
        outcome=record.choice("outcome", get_args(Outcome)),
        together=record.whole("together"),
        hosts=record.whole("hosts"),
        unserved=record.whole("unserved"),
        words=record.text("words", ""),
    )


def _finding(record: Record) -> Finding:
    return Finding(
        record.choice("severity", get_args(Severity)),
        record.text("code", ""),
        record.text("where", ""),
        record.text("message", ""),
        record.text("hint", ""),
        record.text("file", ""),
    )


def _proof(record: Record) -> Proof:
    proof = record.member("proof")
    return Proof(proof.text("kind", "none"), proof.text("words", ""), proof.mapping("details"))
