"""GeoJSON, CSV and Markdown, each read again by a reference library."""

import json
from dataclasses import replace

import geojson
import pandas as pd
import pytest
from markdown_it import MarkdownIt

import planner
from planner.fleet import Fleet
from planner.outputs.markdown import escaped, plan_to_markdown
from planner.plan import MeasureFirst, Reason, Unserved

NASTY = (
    "<script>alert(1)</script>",
    "a | b",
    "*bold* _it_ `code` ~~gone~~",
    "[x](http://example.org) ![y](z)",
    "www.example.org http://example.org",
    "1. first",
    "12) twelfth",
    "- item",
    "# title",
    "&lt; &#42;",
    "line\nbreak",
    "فرع 🏪",
    "\\",
)


@pytest.fixture
def located(fleet: Fleet) -> Fleet:
    """The fleet with coordinates for all but its first site."""
    north = [float("nan"), *(50 + number / 100 for number in range(1, len(fleet.sites)))]
    sites = fleet.sites.assign(latitude=north, longitude=[9 + value / 10 for value in north])
    return fleet.replace(sites=sites, pools=fleet.pools.assign(latitude=52.0, longitude=[9.0, 10, 11, 12, 13, 14]))


@pytest.fixture
def features(located, plan, tmp_path):
    planner.write_geojson(located, plan, tmp_path / "plan.geojson")
    collection = geojson.loads((tmp_path / "plan.geojson").read_text(encoding="utf-8"))
    assert collection.is_valid, collection.errors()
    return collection["features"]


def of_kind(features, kind):
    return [feature for feature in features if feature["properties"]["kind"] == kind]


def test_geojson_holds_every_site_hub_and_assignment_once(features, located, plan):
    assert [f["properties"]["site"] for f in of_kind(features, "site")] == list(located.site_ids)
    assert [f["properties"]["hub"] for f in of_kind(features, "hub")] == list(located.hub_ids)
    lines = of_kind(features, "assignment")
    assert [(f["properties"]["site"], f["properties"]["host"]) for f in lines] == [
        (a.site, a.host) for a in plan.assignments
    ]
    states = {f["properties"]["site"]: f["properties"]["state"] for f in of_kind(features, "site")}
    assert {site for site, state in states.items() if state == "unserved"} == {u.site for u in plan.unserved}


def test_geojson_puts_longitude_first_and_leaves_unknown_places_null(features, located):
    """RFC 7946, section 3.1.1: easting, then northing; section 3.2: a feature without a place has a null geometry."""
    first, second = of_kind(features, "site")[:2]
    assert first["geometry"] is None
    assert second["geometry"]["coordinates"] == [located.sites["longitude"][1], located.sites["latitude"][1]]
    lines = {f["properties"]["site"]: f["geometry"] for f in of_kind(features, "assignment")}
    assert lines["0001"] is None
    assert lines["0002"]["coordinates"][0] == second["geometry"]["coordinates"]


def test_geojson_cuts_lines_at_the_antimeridian(located, plan, tmp_path):
    """RFC 7946, section 3.1.9: no line crosses it; the example there is cut at 180 and goes on at -180."""
    fleet = located.replace(
        sites=located.sites.assign(latitude=10.0, longitude=179.0),
        pools=located.pools.assign(latitude=14.0, longitude=-177.0),
    )
    planner.write_geojson(fleet, plan, tmp_path / "plan.geojson")
    data = geojson.loads((tmp_path / "plan.geojson").read_text(encoding="utf-8"))
    assert data.is_valid
    for line in of_kind(data["features"], "assignment"):
        assert line["geometry"] == {
            "type": "MultiLineString",
            "coordinates": [[[179.0, 10.0], [180.0, 11.0]], [[-180.0, 11.0], [-177.0, 14.0]]],
        }


def test_geojson_of_numbers_that_json_lacks_is_null(located, plan, tmp_path):
    odd = replace(plan.assignments[0], rtt_ms=float("nan"))
    planner.write_geojson(located, plan.replace(assignments=(odd,)), tmp_path / "plan.geojson")
    text = (tmp_path / "plan.geojson").read_text(encoding="utf-8")
    json.loads(text, parse_constant=lambda name: pytest.fail(name))


def tables(folder):
    return {path.stem: pd.read_csv(path, dtype=str, keep_default_na=False) for path in folder.iterdir()}


def test_csv_tables_come_back_with_pandas(fleet, plan, tmp_path):
    written = planner.write_csv(fleet, plan, tmp_path / "new" / "tables")
    assert all(path.exists() for path in written)
    found = tables(tmp_path / "new" / "tables")
    assert set(found) == {
        "hosts",
        "assignments",
        "unserved",
        "uncovered",
        "no_host_needed",
        "measure_first",
        "findings",
        "policy",
        "aims",
    }
    assert found["hosts"]["host"].tolist() == [host.host for host in plan.host_list]
    assignments = found["assignments"]
    assert assignments["site"].tolist() == [a.site for a in plan.assignments]  # leading zeros are kept
    assert assignments["rtt_ms"].astype(float).tolist() == [a.rtt_ms for a in plan.assignments]
    assert assignments["standby"].tolist() == [a.standby or "" for a in plan.assignments]
    assert len(found["unserved"]) == sum(len(u.reasons) for u in plan.unserved)
    assert found["findings"]["message"].tolist() == [f.message for f in plan.findings]
    settings = dict(zip(found["policy"]["setting"], found["policy"]["value"], strict=True))
    assert settings["cover"] == "host"
    assert settings["split_sites"] == "no"
    assert found["aims"][["aim", "proven"]].values.tolist() == [["hosts", "yes"]]


def test_csv_keeps_odd_texts_and_defuses_formulas(fleet, plan, tmp_path):
    """What is defused: OWASP, CSV Injection."""
    texts = ("=1+1", "@SUM(A1)", "-2", "+3", 'comma, "quote"\nline', "فرع 🏪", "plain")
    names = [*texts, *fleet.sites["name"][len(texts) :]]
    planner.write_csv(fleet.replace(sites=fleet.sites.assign(name=names)), plan, tmp_path)
    found = tables(tmp_path)["assignments"]["name"][: len(texts)].tolist()
    assert found == ["'=1+1", "'@SUM(A1)", "'-2", "'+3", *texts[4:]]


def test_csv_says_why_a_folder_cannot_be_made(fleet, plan, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(planner.InputError, match="cannot be created"):
        planner.write_csv(fleet, plan, tmp_path / "file" / "below")


@pytest.mark.parametrize("text", NASTY)
@pytest.mark.parametrize("around", ["{}", "- {}", "| head |\n| --- |\n| {} |"])
def test_markdown_shows_texts_of_the_input_as_text(text, around):
    tokens = MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(around.format(escaped(text)))
    inlines = [token for token in tokens if token.type == "inline"]
    children = inlines[-1].children
    assert {child.type for child in children} <= {"text", "text_special"}
    assert "".join(child.content for child in children) == " ".join(text.split())
    assert len(inlines) == (2 if "head" in around else 1)
    assert sum(token.type.endswith("list_open") for token in tokens) == around.startswith("-")


def test_markdown_sums_the_plan_up(fleet, plan):
    text = plan_to_markdown(fleet, plan)
    html = MarkdownIt("commonmark").enable("table").render(text)
    assert f"{plan.hosts} tie-breaker hosts" in html
    assert html.count("<tr>") == 1 + len({host.hub for host in plan.host_list})
    assert all(f"<li>{u.site}" in html for u in plan.unserved)
    assert plan.sources[0].sha256 in html


def test_markdown_of_many_unserved_sites_stays_short(fleet, plan):
    many = tuple(Unserved(f"{n}", 1, (Reason("latency", "too far"),)) for n in range(500))
    text = plan_to_markdown(fleet, plan.replace(unserved=many))
    assert "and 480 more" in text
    assert len(text.splitlines()) < 60


def test_a_ticket_asks_for_the_measurements_that_the_plan_names(fleet, plan):
    """It asked to measure the sites that are served on an estimate, and explain listed other pairs."""
    rows = [
        MeasureFirst(rank, "0001", hub, "unknown", None, 20.0, "within", 1, 15, 4, "It would take 15 hosts.")
        for rank, hub in enumerate(("ROV", "ESK"), start=1)
    ]
    ticket = plan_to_markdown(fleet, replace(plan, measure_first=tuple(rows)))
    assert "- Measure these first, because the plan depends on them: 0001 to ESK, 0001 to ROV." in ticket
    assert "Measure first" not in plan_to_markdown(fleet, replace(plan, measure_first=()))
