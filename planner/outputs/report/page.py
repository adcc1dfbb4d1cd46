"""The page itself: the template filled in, with every script and style inlined and allowed by name only."""

from __future__ import annotations

import base64
import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import bokeh
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from planner import columns
from planner.fleet import Fleet
from planner.identity import identity_in_words, plan_hash
from planner.outputs import how_sure, plan_sentences
from planner.outputs.causes import unserved_by_cause
from planner.outputs.facts import Facts, margin_ms
from planner.outputs.list_sheets import applied_policy, setting_text
from planner.outputs.report.charts import curve_item, latency_item, map_item
from planner.outputs.report.looks import look
from planner.outputs.report.places import lay_out
from planner.outputs.report.record import record
from planner.outputs.report.texts import english, say
from planner.plan import Plan
from planner.version import VERSION

if TYPE_CHECKING:
    from planner.differences import Difference
    from planner.explain import BudgetPoint
    from planner.verify import Violation

_SCRIPTS = ("data.js", "table.js", "lists.js", "map.js", "drill.js")


def report_html(
    fleet: Fleet,
    plan: Plan,
    *,
    violations: Sequence[Violation] = (),
    curve: Sequence[BudgetPoint] = (),
    difference: Difference | None = None,
) -> str:
    """Return the file that `planner.write_report` writes."""
    facts, layout = Facts(fleet, plan), lay_out(fleet, plan)
    data = record(facts, layout)
    charts = [map_item(layout), latency_item(), *([curve_item(curve)] if curve else [])]
    scripts = [_library(), "\n".join(_own(name) for name in _SCRIPTS)]
    environment = Environment(
        loader=PackageLoader(__package__, ""), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    return environment.get_template("page.html").render(
        say=say,
        policy=_security_policy(scripts),
        style=Markup(_own("page.css")),
        scripts=[Markup(script) for script in scripts],
        record=_as_json({**data, "texts": english(), "charts": charts, "schematic": layout.schematic}),
        data=data,
        plan=plan,
        causes=unserved_by_cause(plan),
        figures=_figures(facts),
        hosts=_hosts(facts),
        regions=sorted(set(data["rows"]["region"]) - {""}),
        evidence=Counter(data["rows"]["evidence"]),
        unplaced=sum(x is None for x in (*data["rows"]["x"], *data["unserved"].get("x", ()))),
        schematic=layout.schematic,
        names=facts.names,
        settings=_changed_settings(facts),
        sources=plan.sources or fleet.sources,
        violations=[violation for violation in violations if violation.severity == "violation"],
        curve=sorted(curve, key=lambda point: point.share),
        difference=difference,
        words=plan_sentences,
        sure=how_sure,
        spared=plan_sentences.spared_in_words(facts.fleet, facts.plan),
        left_in_place=plan_sentences.left_in_place_in_words(facts.fleet, facts.plan),
        identity=identity_in_words(plan),
        hash=plan_hash(plan),
        version=VERSION,
        bokeh=bokeh.__version__,
    )


def _library() -> str:
    return (files(bokeh) / "server" / "static" / "js" / "bokeh.min.js").read_text(encoding="utf-8")


def _own(name: str) -> str:
    return (files(__package__) / name).read_text(encoding="utf-8")


def _security_policy(scripts: Sequence[str]) -> str:
    """Return a policy that lets nothing be fetched and only these scripts run.

    Styles are free because Bokeh makes style elements as it draws; a style can fetch nothing either.
    """
    hashes = (base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = " ".join(f"'sha256-{value}'" for value in hashes)
    return f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def _as_json(data: object) -> Markup:
    """Return ``data`` as JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def _figures(facts: Facts) -> list[tuple[str, str]]:
    plan = facts.plan
    free = sum(host.usable - host.clusters for host in plan.host_list)
    least = min(map(margin_ms, plan.assignments), default=None)
    new = sum(not host.existing for host in plan.host_list)
    return [
        (say("status"), say("optimal") if plan.status == "optimal" else say("feasible")),
        (say("complete"), say("yes") if plan.complete else say("no")),
        (say("hosts"), say("hosts_figure", hosts=plan.hosts, new=new)),
        (say("lower_bound"), plan_sentences.amount(plan, plan.lower_bound)),
        (say("sites_served"), f"{len(plan_sentences.sites_served(plan)):,}"),
        (say("sites_unserved"), f"{len(plan.unserved):,}"),
        (say("sites_without_need"), f"{len(plan.no_host_needed):,}"),
        (say("clusters_served"), f"{sum(a.clusters for a in plan.assignments):,}"),
        (say("free_places"), f"{free:,}"),
        (say("least_margin"), say("none") if least is None else f"{least:,.1f} ms"),
        (say("sites_that_move"), f"{facts.moves:,}"),
    ]


def _changed_settings(facts: Facts) -> list[tuple[str, str]]:
    """Return name and value of every setting that differs from its default."""
    defaults = {setting.name: setting_text(setting.default) for setting in columns.SETTINGS}
    applied = {name: setting_text(value) for name, value in applied_policy(facts).items()}
    return [(name, str(value)) for name, value in applied.items() if value is not None and value != defaults.get(name)]


def _hosts(facts: Facts) -> list[dict[str, Any]]:
    rows = []
    for position, host in enumerate(facts.plan.host_list):
        assignments = facts.by_host.get(host.host, [])
        rows.append(
            {
                "at": position,
                "host": host,
                "look": look(position),
                "sites": len({assignment.site for assignment in assignments}),
                "share": min(host.clusters / host.usable, 1.0) if host.usable else 1.0,
                "over": host.clusters > host.usable,
                "least": min(map(margin_ms, assignments), default=None),
            }
        )
    return rows
