"""The report as a file: its policy, its size, its words, and where it puts things."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise

import numpy as np
import pytest

import planner
from planner.outputs.facts import Facts
from planner.outputs.report.looks import COLOURS, SHAPES, look
from planner.outputs.report.page import report_html
from planner.outputs.report.places import lay_out
from planner.outputs.report.record import record
from planner.outputs.report.texts import english, say
from planner.plan import Reason, Uncovered
from planner.verify import Violation


class Parsed(HTMLParser):
    """Tags, ids, script bodies and references of a page."""

    def __init__(self, html):
        super().__init__()
        self.scripts, self.ids, self.references, self.metas, self._inside = [], [], [], [], False
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        values = dict(attributes)
        self.ids += [values["id"]] if "id" in values else []
        self.references += [values[name] for name in ("src", "href", "data", "action", "srcset") if name in values]
        if tag == "meta":
            self.metas.append(values)
        self._inside = tag == "script"
        if self._inside:
            self.scripts.append((values.get("type", ""), ""))

    def handle_data(self, data):
        if self._inside:
            kind, before = self.scripts.pop()
            self.scripts.append((kind, before + data))

    def handle_endtag(self, tag):
        self._inside = False


@pytest.fixture(scope="module")
def html(fleet, plan, located):
    return report_html(located(fleet), plan)


def test_every_script_is_inline_and_allowed_by_its_hash(html):
    page = Parsed(html)
    (policy,) = [meta["content"] for meta in page.metas if meta.get("http-equiv") == "Content-Security-Policy"]
    allowed = re.findall(r"'sha256-([^']+)'", policy)
    bodies = [body for kind, body in page.scripts if kind != "application/json"]
    assert allowed == [base64.b64encode(hashlib.sha256(body.encode()).digest()).decode() for body in bodies]
    assert policy.startswith("default-src 'none';")
    assert not re.search(r"https?:|\*|unsafe-eval|data:|blob:", policy)


def test_nothing_is_referred_to_but_the_page_itself(html):
    page = Parsed(html)
    assert page.references
    for reference in page.references:
        assert reference.startswith("#")
        assert reference[1:] in page.ids
    assert len(page.ids) == len(set(page.ids))


def test_texts_cannot_leave_the_record(nasty):
    page = Parsed(report_html(*nasty))
    kinds = [kind for kind, _ in page.scripts]
    assert kinds == ["application/json", "", ""]
    data = json.loads(page.scripts[0][1])
    assert data["rows"]["name"] == nasty[0].sites["name"][: len(nasty[1].assignments)].tolist()


@pytest.mark.parametrize(("sites", "most"), [(1_200, 3_000_000), (10_000, 10_000_000)])
def test_the_size_stays_within_its_limit(builders, located, sites, most):
    build_fleet, build_plan = builders
    fleet = located(build_fleet(sites))
    size = len(report_html(fleet, build_plan(fleet, cap=64)).encode())
    print(f"{sites} sites: {size:,} bytes")
    assert size < most


def test_every_text_is_used_and_every_key_exists():
    sources = {
        name: (files("planner.outputs.report") / name).read_text()
        for name in (*("page.html", "data.js", "table.js", "lists.js", "map.js", "drill.js", "page.py", "charts.py"),)
    }
    together = "\n".join(sources.values())
    for key in english():
        assert re.search(rf'["\']{key}["\']|key: "{key}"|texts\.{key}\b|\b{key}:', together), key
    for key in re.findall(r'say\("(\w+)"', together):
        assert key in english(), key


def test_values_are_filled_into_texts_and_missing_ones_are_noticed():
    assert say("hosts_figure", hosts=1200, new=3) == "1,200 (3 new)"
    with pytest.raises(KeyError):
        say("hosts_figure", hosts=1)


def test_a_plan_that_does_not_hold_says_so_on_top(fleet, plan):
    violations = [Violation("capacity", "host TYN-01", "carries 99 clusters")] * 25
    html = report_html(fleet, plan, violations=violations)
    assert "it breaks the rules of its fleet in 25 places" in html
    assert html.index("in 25 places") < html.index('id="map"')
    assert "and 5 more" in html
    assert 'class="alarm" aria-labelledby' not in report_html(fleet, plan)


def test_the_first_42_hosts_look_different_from_each_other():
    looks = [look(number) for number in range(len(COLOURS) * len(SHAPES))]
    assert len(set(looks)) == 42
    # Neighbours in the list, which share hubs, differ in colour and in shape.
    assert all(a[0] != b[0] and a[1] != b[1] for a, b in pairwise(looks))


def test_a_host_that_only_assignments_name_is_shown_all_the_same(fleet, plan):
    first, *rest = plan.assignments
    stray = replace(first, host="GONE-01", standby="GONE-02")
    edited = plan.replace(assignments=(stray, *rest))
    data = record(Facts(fleet, edited), lay_out(fleet, edited))
    assert [host["host"] for host in data["hosts"]][-2:] == ["GONE-01", "GONE-02"]
    assert data["hosts"][data["rows"]["host"][0]]["host"] == "GONE-01"
    assert data["hosts"][-1]["hub"] == -1
    assert "GONE-01" in report_html(fleet, edited)


def test_sites_without_a_standby_are_listed_with_why(fleet, plan):
    bare = Uncovered("0007", (Reason("room", "every other host within 40 ms is full"),))
    html = report_html(fleet, plan.replace(uncovered=(bare,)))
    assert "1 site has none: see Sites without a standby." in html
    assert "every other host within 40 ms is full" in html[html.index('id="uncovered"') :]
    assert 'id="uncovered"' not in report_html(fleet, plan.replace(uncovered=()))


def test_an_empty_plan_has_a_report(fleet, plan):
    nothing = plan.replace(host_list=(), assignments=(), unserved=(), no_host_needed=(), findings=())
    assert "No site needs a shared tie-breaker host." in report_html(fleet, nothing)


def test_a_fleet_on_both_sides_of_the_date_line_stays_together(fleet, plan, located):
    fleet = located(fleet)
    shifted = (fleet.sites["longitude"] + 170 + 180) % 360 - 180
    assert shifted.min() < -170
    assert shifted.max() > 170
    there = fleet.replace(
        sites=fleet.sites.assign(longitude=shifted),
        pools=fleet.pools.assign(longitude=(fleet.pools["longitude"] + 350) % 360 - 180),
    )
    here, beyond = lay_out(fleet, plan), lay_out(there, plan)
    width = np.ptp([x for x, _ in here.sites.values()])
    assert np.ptp([x for x, _ in beyond.sites.values()]) == pytest.approx(width)


def test_a_site_without_coordinates_is_left_out_and_counted(fleet, plan, located):
    fleet = located(fleet)
    fleet = fleet.replace(sites=fleet.sites.assign(latitude=fleet.sites["latitude"].where(fleet.sites.index > 0)))
    assert "their place is not known: 1." in report_html(fleet, plan)


def without_ids(html):
    """The page without the numbers that Bokeh counts up in one process."""
    return re.sub(r'"p\d+"', '""', html)


def test_writing_replaces_the_file_as_a_whole(tmp_path, fleet, plan):
    planner.write_report(fleet, plan, tmp_path / "plan.html")
    text = (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert without_ids(text) == without_ids(report_html(fleet, plan))
    assert [path.name for path in tmp_path.iterdir()] == ["plan.html"]
