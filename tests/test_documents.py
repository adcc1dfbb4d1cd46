"""Every JSON file is as its schema says, also with no key that the schema lacks, and reads back as what was written."""

import copy
import datetime as dt
import json
import os
import re
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planner
from planner.documents import DOCUMENTS, text_of
from planner.documents.schema import DIALECT, file_of, schema_of
from planner.documents.schema import text_of as text_of_schema
from sample_fleets.random_fleet import generate
from tests.how_many import tries
from tests.test_api import TWELVE_SITES

ROOT = Path(__file__).parents[1]
SAMPLES = sorted((ROOT / "sample_fleets").glob("*.xlsx"), key=lambda path: path.stat().st_size)
SAMPLES = SAMPLES if os.environ.get("CASTINGVOTE_SAMPLES") == "all" else SAMPLES[:2]


def closed(schema):
    """The schema with no object open to keys that it does not name."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: closed(one) for key, one in schema.items()}
    return found | ({"additionalProperties": False} if "properties" in found else {})


FORMATS = jsonschema.FormatChecker(("date",))


@FORMATS.checks("date-time", ValueError)
def is_moment(value):
    """RFC 3339: with seconds and an offset."""
    return dt.datetime.fromisoformat(value).tzinfo is not None and value[16] == ":"


VALIDATORS = {}
for _name in DOCUMENTS:
    both = planner.schema(_name), closed(planner.schema(_name))
    VALIDATORS[_name] = [jsonschema.Draft202012Validator(one, format_checker=FORMATS) for one in both]


def check(name, text):
    data = json.loads(text)
    for validator in VALIDATORS[name]:
        validator.validate(data)
    return data


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_schema_that_ships_is_that_of_the_nouns(name):
    shipped = (ROOT / "planner" / "documents" / "schemas" / file_of(name)).read_text(encoding="ascii")
    assert shipped == text_of_schema(name), "run: python -m planner.documents.schema"
    jsonschema.Draft202012Validator.check_schema(json.loads(shipped))
    assert planner.schema(name)["$schema"] == DIALECT
    assert planner.schema(name)["$id"].endswith(f"/{name}-1.json")
    with pytest.raises(KeyError, match="plans"):
        planner.schema("plans")


def again(name, path, noun):
    """Whether the file gives back the noun; of a plan its aims may be rated by those before them."""
    found = getattr(planner, f"read_{name}")(path)
    return text_of(found) == text_of(noun) if name == "plan" else found == noun


def all_of(fleet, made):
    """Every noun of a fleet and its plan that is a document."""
    yield "plan", made
    yield "rollout", planner.roll_out(fleet, made, start=dt.date(2027, 1, 4), time_limit=1)
    yield "drill", planner.drill(fleet, made)
    if made.host_list:
        yield "drill", planner.drill(fleet, made, [f"host:{made.host_list[0].host}"])
    yield "availability", planner.availability(fleet, made)
    yield "difference", planner.compare(made, made.replace(host_list=made.host_list[1:]))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_documents_of_the_samples_are_as_their_schemas_say_and_read_back(sample, tmp_path):
    fleet = planner.read_fleet(sample)
    made = planner.plan(fleet, time_limit=None if sample == TWELVE_SITES else 1)
    nouns = [*all_of(fleet, made)]
    if sample == TWELVE_SITES:  # of the larger one they take long
        nouns += [("sweep", planner.sweep(fleet, planner.vary("cluster_cap=64,128"), jobs=1))]
        nouns += [("horizon", planner.horizon(fleet, dt.date(2027, 1, 1), periods=2))]
        nouns += [("designs", planner.compare_designs(fleet))]
    for name, noun in nouns:
        check(name, text_of(noun))
        planner.write_json(noun, tmp_path / "noun.json")
        assert again(name, tmp_path / "noun.json", noun)
    planner.write_json(made, tmp_path / "plan.json", planner.audit(fleet))
    check("plan", (tmp_path / "plan.json").read_text())


@given(seed=st.integers(0, 10**6), cover=st.sampled_from(("none", "host", "hub")), budget=st.sampled_from((None, 10.0)))
@settings(max_examples=tries(2), deadline=None)
def test_documents_of_random_fleets_are_as_their_schemas_say_and_read_back(seed, cover, budget, tmp_path_factory):
    fleet = planner.fleet_from_tables(generate(8, 3, seed, cluster_cap=8, unservable=2))
    fleet = fleet.replace(policy=fleet.policy.replace(cover=cover, latency_budget_ms=budget))
    file = tmp_path_factory.mktemp("documents") / "noun.json"
    for name, noun in all_of(fleet, planner.plan(fleet, time_limit=2)):
        check(name, text_of(noun))
        planner.write_json(noun, file)
        assert again(name, file, noun)


def test_what_commands_print_is_as_the_schemas_say(capsys, tmp_path, monkeypatch):
    from click.testing import CliRunner

    from planner.cli import cli

    monkeypatch.chdir(tmp_path)
    for name, arguments in (
        ("plan", (TWELVE_SITES, "-q", "--measure-first", "0", "--json", "plan.json")),
        ("check", (TWELVE_SITES, "--json", "check.json")),
        ("verify", (TWELVE_SITES, "plan.json", "--proof", "--json", "verify.json")),
        ("explain", (TWELVE_SITES, "--time-limit", "2", "--json", "explain.json")),
        ("explain", (TWELVE_SITES, "--site", "M01", "--json", "explain.json")),
        ("drill", (TWELVE_SITES, "plan.json", "--json", "drill.json")),
        ("adopt", (ROOT / "sample_fleets" / "county_chain.xlsx", "--json", "adopt.json")),
    ):
        CliRunner().invoke(cli, [name, *map(str, arguments)], catch_exceptions=False, standalone_mode=False)
        check(name, Path(f"{name}.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def rollout():
    fleet = planner.read_fleet(TWELVE_SITES)
    return json.loads(text_of(planner.roll_out(fleet, planner.plan(fleet), start=dt.date(2027, 1, 4))))


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (lambda data: data.pop("why"), "why"),
        (lambda data: data["waves"][0].update(wave="one"), "waves[0].wave"),
        (lambda data: data["waves"][0]["steps"][0].update(starts="noon"), "waves[0].steps[0].starts"),
        (lambda data: data["waves"][0]["steps"][0].update(kind="dance"), "waves[0].steps[0].kind"),
        (lambda data: data.update(waves={}), "waves"),
        (lambda data: data.update(lower_bound_waves=1.5), "lower_bound_waves"),
        (lambda data: data.update(format=2), ""),
    ],
)
def test_what_cannot_be_read_is_named_with_its_place(rollout, tmp_path, change, where):
    broken = copy.deepcopy(rollout)
    change(broken)
    (tmp_path / "rollout.json").write_text(json.dumps(broken))
    with pytest.raises(planner.InputError) as caught:
        planner.read_rollout(tmp_path / "rollout.json")
    assert {(finding.where, finding.file) for finding in caught.value.findings} == {(where, "rollout.json")}
    assert list(VALIDATORS["rollout"][0].iter_errors(broken))


def test_keys_that_are_not_known_are_passed_over(rollout, tmp_path):
    (tmp_path / "rollout.json").write_text(json.dumps({**rollout, "later": 1}))
    assert len(planner.read_rollout(tmp_path / "rollout.json").waves) == len(rollout["waves"])


@pytest.mark.parametrize("content", ["[]", "{", "3", "", '{"points": 3}', '{"points": [3]}'])
def test_other_files_are_refused_in_words(content, tmp_path):
    (tmp_path / "x.json").write_text(content)
    for read in (planner.read_sweep, planner.read_rollout, planner.read_designs, planner.read_horizon):
        with pytest.raises(planner.InputError):
            read(tmp_path / "x.json")
    with pytest.raises(planner.InputError, match="No such file"):
        planner.read_sweep(tmp_path / "none.json")
    with pytest.raises(TypeError, match="none of Plan"):
        planner.write_json(3, tmp_path / "y.json")


def test_every_schema_is_in_the_manual():
    text = (ROOT / "planner" / "manual" / "reference" / "json.md").read_text(encoding="utf-8")
    for name in DOCUMENTS:
        assert f"## {name}.json" in text
        told = text.split(f"## {name}.json")[1].split("\n## ")[0]
        missing = [key for key in schema_of(name)["properties"] if not re.search(rf"`{key}\b", told)]
        assert not set(missing) - {"format", "version", "sources", "complete", "status"}, name
