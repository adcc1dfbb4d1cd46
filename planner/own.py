"""What callers add of their own to one fleet: rules, sources of round-trip times, and aims.

They go with the fleet (`Fleet.having`), and so reach all that is made of it. Outputs call them "your own".
Packages offer theirs as entry points of the group ``castingvote``; `installed` finds them by name.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from planner.errors import InputError
from planner.policy import Finding

GROUP = "castingvote"
PREFIX = "own:"  # of the codes of own rules and the names of own aims, wherever they are told
LATER_AIMS = ("moves", "latency", "margin", "spread")  # that the setting then knows by itself
_FINEST, _MOST_STEPS = 1e-6, 1e9


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
                f"must return a boolean array with {len(pairs)} entries; it returns {mask.dtype}, shape {mask.shape}"
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


@dataclass(frozen=True)
class OwnAim:
    """An aim among equally good plans: ``cost`` takes pairs and returns what each costs; the plan makes the sum small.

    ``cost`` gets the same DataFrame as `OwnRule.judge`, and returns one number for each row: finite, not negative, in a
    unit of your own, the smaller the better. A site counts once, on the pool of its host; standbys do not count. It
    must judge each row by itself, since pairs come in parts, and more than once. Numbers count in multiples of
    ``step``, at least 1e-6, and are rounded to them.

    Name the aim in the setting ``then``, among the others and in their order. The name is one word without commas, and
    none of moves, latency, margin and spread.

    >>> far = OwnAim("far_by_road", lambda pairs: pairs["site.km_to_depot"].fillna(0))  # doctest: +SKIP
    """

    name: str
    cost: Callable[[pd.DataFrame], Any]
    step: float = 1e-3

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[^\s,:]+", self.name) or self.name in LATER_AIMS:
            raise self._refused(
                f"needs another name: one word without commas and colons, none of {', '.join(LATER_AIMS)}"
            )
        if not self.step >= _FINEST or self.step == float("inf"):
            raise self._refused(f"has the step {self.step}; a step is a number from {_FINEST:g} upward")

    @property
    def code(self) -> str:
        """How plans call it."""
        return f"{PREFIX}{self.name}"

    def costs(self, pairs: pd.DataFrame) -> np.ndarray:
        """Return the cost of each pair, shape (pairs,), in whole steps; InputError where ``cost`` gives others."""
        try:
            given = np.asarray(self.cost(pairs))
            found = np.full(len(pairs), given, dtype=np.float64) if given.ndim == 0 else given.astype(np.float64)
        except Exception as error:
            raise self._refused(f"fails: {type(error).__name__}: {error}") from error
        if found.shape != (len(pairs),):
            raise self._refused(f"must return an array with {len(pairs)} costs; it returns one of shape {found.shape}")
        for wrong, what in (
            (~np.isfinite(found), "no finite number"),
            (found < 0, "negative"),
            (found > self.step * _MOST_STEPS, f"more than {_MOST_STEPS:,.0f} steps of {self.step:g}"),
        ):
            if wrong.any():
                at = int(np.flatnonzero(wrong)[0])
                row = pairs.iloc[at]
                more = f" and of {int(wrong.sum()) - 1} more pairs" if wrong.sum() > 1 else ""
                raise self._refused(
                    f"returns {found[at]} for site {row['site']} and pool {row['pool']}{more}: that is {what}"
                )
        return np.asarray(np.rint(found / self.step) * self.step)

    def _refused(self, what: str) -> InputError:
        return refused(f"aim {self.name}", what)


Own = OwnRule | OwnSource | OwnAim


def refused(who: str, what: str) -> InputError:
    """Return the error of something of the caller's own that does not do what it should."""
    hint = "Correct it; see help(planner.OwnRule), help(planner.OwnSource) and help(planner.OwnAim)."
    return InputError((Finding("error", "own_failed", "", f"Your own {who} {what}.", hint),))


def installed(name: str) -> Own:
    """Return what an installed package offers under ``name``; InputError where there is none."""
    from importlib.metadata import entry_points

    offered = entry_points(group=GROUP)
    for point in offered:
        if point.name == name:
            found = point.load()
            if isinstance(found, Own):
                return found
            raise refused(f"{name} of {point.value}", "is neither an OwnRule nor an OwnSource nor an OwnAim")
    names = ", ".join(sorted(point.name for point in offered)) or "none"
    message = f"No installed package offers {name} in the group {GROUP} of entry points."
    raise InputError((Finding("error", "own_unknown", "", message, f"There are: {names}."),))
