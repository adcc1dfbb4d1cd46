"""A memory of answers of its own for every test."""

import pytest


@pytest.fixture(autouse=True)
def own_memory(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
