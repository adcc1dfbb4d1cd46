"""What callers add of their own to one fleet: rules, and sources of round-trip times.

They go with the fleet (`Fleet.having`), and so reach all that is made of it. Outputs call them "your own".
Packages offer theirs as entry points of the group ``castingvote``; `installed` finds them by name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from planner.errors import InputError
from planner.policy import Finding

GROUP = "castingvote"
PREFIX = "own:"  # of the codes of own rules, wherever codes of rules are told


@dataclass(frozen=True)
class OwnRule:
    """A rule between sites and pools: ``judge`` takes pairs and returns which of them are broken, and why.

    ``judge`` gets a DataFrame of pairs, one row for each, and returns a mask (True where the site may not use the
    pool), and the reason: one text for all, or one for each row. It must judge each row by itself, since pairs come in
    parts, and more than once. Columns: ``site``, ``hub``, ``pool``, ``rtt_ms`` (NaN where unknown), ``budget_ms``,
    ``loss_percent``, ``evidence``, ``measured_at``, ``clusters``, and every column of the sheets Sites and Hubs, also
    those that only you know, as ``site.NAME`` and ``pool.NAME``.

    >>> near = OwnRule("near", lambda pairs: (pairs["rtt_ms"] > 10, "more than 10 ms away"))
    """

    name: str
    judge: Callable[[pd.DataFrame], tuple[Any, Any]]

    @property
    def code(self) -> str:
        """The code of its reasons."""
        return f"{PREFIX}{self.name}"

    def broken(self, pairs: pd.DataFrame) -> tuple[np.ndarray, list[str]]:
        """Return the mask and the reason of each pair; InputError where ``judge`` fails or returns something else."""
        try:
            mask, why = self.judge(pairs)
            mask = np.asarray(mask)
            reasons = [why] * len(pairs) if isinstance(why, str) else [str(one) for one in why]
        except Exception as error:
            raise self._refused(f"fails: {type(error).__name__}: {error}") from error
        if mask.dtype != np.bool_ or mask.shape != (len(pairs),):
            raise self._refused(
                f"returns a mask of {mask.dtype} and shape {mask.shape}, not of bool and ({len(pairs)},)"
            )
        if len(reasons) != len(pairs):
            raise self._refused(f"returns {len(reasons)} reasons for {len(pairs)} pairs")
        return mask, reasons

    def _refused(self, what: str) -> InputError:
        return refused(f"rule {self.name}", what)


@dataclass(frozen=True)
class OwnSource:
    """A source of round-trip times: ``find`` takes the fleet and returns them as a DataFrame.

    Its columns are ``site``, ``hub`` and ``rtt_ms``; ``loss_percent``, ``pair_cost`` and ``measured_at`` may follow.
    What the fleet states with as good ``evidence`` comes before it, what it states with weaker evidence after it.
    """

    name: str
    find: Callable[[Any], pd.DataFrame]
    evidence: Literal["measured", "modelled", "estimated"] = "measured"

    def figures(self, fleet: Any) -> pd.DataFrame:
        """Return the table with all columns; InputError where ``find`` fails or returns something else."""
        try:
            found = self.find(fleet)
        except Exception as error:
            raise refused(f"source {self.name}", f"fails: {type(error).__name__}: {error}") from error
        wanted = {"site", "hub", "rtt_ms"}
        if not isinstance(found, pd.DataFrame) or not wanted <= set(found):
            raise refused(f"source {self.name}", "returns no DataFrame with the columns site, hub and rtt_ms")
        table = found.reindex(columns=["site", "hub", "rtt_ms", "loss_percent", "pair_cost", "measured_at"])
        numbers = table[["rtt_ms", "loss_percent", "pair_cost"]].apply(pd.to_numeric, errors="coerce")
        if (numbers < 0).any(axis=None) or numbers["rtt_ms"].isna().any():
            raise refused(f"source {self.name}", "returns a figure that is negative, or no number")
        moments = pd.to_datetime(table["measured_at"], errors="coerce")
        return table.assign(**{name: numbers[name] for name in numbers}, measured_at=moments)


Own = OwnRule | OwnSource


def refused(who: str, what: str) -> InputError:
    """Return the error of something of the caller's own that does not do what it should."""
    hint = "Correct it; see help(planner.OwnRule) and help(planner.OwnSource)."
    return InputError((Finding("error", "own_failed", "", f"Your own {who} {what}.", hint),))


def installed(name: str) -> Own:
    """Return the rule or source that an installed package offers under ``name``; InputError where there is none."""
    from importlib.metadata import entry_points

    offered = entry_points(group=GROUP)
    for point in offered:
        if point.name == name:
            found = point.load()
            if isinstance(found, OwnRule | OwnSource):
                return found
            raise refused(f"{name} of {point.value}", "is neither an OwnRule nor an OwnSource")
    names = ", ".join(sorted(point.name for point in offered)) or "none"
    message = f"No installed package offers {name} in the group {GROUP} of entry points."
    raise InputError((Finding("error", "own_unknown", "", message, f"There are: {names}."),))
