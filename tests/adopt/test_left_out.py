"""Figures with their noun are read, and no column is left out in silence."""

import json

import openpyxl
import pytest
from click.testing import CliRunner

from planner.cli import cli
from tests.adopt.truth import accepted, as_json

SITES = [
    ["Filiale", "Ort", "Anzahl Cluster", "Latenz max (ms)", "Kasse", "Bemerkung"],
    *([f"F{n:03d}", f"Ort {n}", 1 + n % 3, 40, f"K{n % 4}", f"Note {n}"] for n in range(12)),
]
TIMES = [["Filiale", "RZ", "RTT ms"], *([f"F{n:03d}", h, 5 + n] for n in range(12) for h in ("DUS", "FRA"))]


def estate(tmp_path, cap, header="Cluster pro Server"):
    book = openpyxl.Workbook()
    book.remove(book.active)
    hubs = [["RZ", "Bezeichnung", header, "Vermerk"], ["DUS", "Nord", cap, "a"], ["FRA", "Süd", cap, "b"]]
    for title, rows in (("Filialen", SITES), ("Rechenzentren", hubs), ("Messung", TIMES)):
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    path = tmp_path / "stores.xlsx"
    book.save(path)
    return path


@pytest.mark.parametrize("cap", ["25 clusters", "25 Cluster", "25 Cluster pro Host", "25 per host", "25"])
def test_a_cap_with_its_noun_is_read(tmp_path, cap):
    inspection, result = accepted(estate(tmp_path, cap), tmp_path)
    assert inspection.fleet.cluster_caps.tolist() == [25, 25], result.output


def test_a_cap_that_counts_something_else_is_listed_first_with_its_reason(tmp_path):
    path = estate(tmp_path, "25 Kassen")
    left = as_json(path)["left_out"]
    assert (left[0]["header"], left[0]["like"]) == ("Cluster pro Server", "cluster_cap")
    assert "its cells are not what cluster_cap holds" in left[0]["why"]
    assert {one["header"] for one in left} >= {"Cluster pro Server", "Kasse", "Bemerkung", "Vermerk"}
    inspection, result = accepted(path, tmp_path)
    assert inspection.fleet.cluster_caps.tolist() == [64, 64]
    assert "Not used in the plan: 4 columns" in result.output
    mapping = (tmp_path / "fleet.toml").read_text(encoding="utf-8")
    assert '# not used: "Cluster pro Server" (C1): its header is like cluster_cap' in mapping
    assert "25 Kassen" in mapping


def test_a_column_refused_is_said_to_be_refused(tmp_path):
    path = estate(tmp_path, "25 clusters", header="Kapazität")
    given = ["--answer", "Hubs.cluster_cap=none of these"]
    result = CliRunner().invoke(cli, ["adopt", str(path), "--json", "-", *given], catch_exceptions=False)
    left = {one["header"]: one["why"] for one in json.loads(result.stdout)["left_out"]}
    assert "Kapazität" in left
