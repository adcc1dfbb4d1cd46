"""A fleet as rows, before anybody has read it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Tables:
    """Rows by sheet, as a user would write them (a blank is a key that is not there), and the settings."""

    sheets: Mapping[str, list[dict[str, Any]]]
    policy: Mapping[str, Any]

    def frames(self) -> dict[str, pd.DataFrame]:
        """Return the sheets that have rows as data frames."""
        return {name: pd.DataFrame(rows) for name, rows in self.sheets.items() if rows}

    def rows(self, sheet: str) -> list[dict[str, Any]]:
        """Return the rows of a sheet; none where it is not there."""
        return self.sheets.get(sheet, [])

    def setting(self, name: str) -> Any:
        """Return a setting, None where it is blank."""
        return self.policy.get(name)
