"""Which column of a table is which: the words of its header, weighed by what its cells can be."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from planner.columns import Column, Sheet
from planner.fleet import Floats
from planner.intake.adopt.entities import names_hubs
from planner.intake.adopt.patterns import STATUS, TODAY_HOST, TODAY_HUB, Wanted
from planner.intake.adopt.profile import Profile
from planner.intake.likeness import concepts_in, likeness
from planner.intake.nouns import counts

TAKEN = 0.6  # likeness from which a column is taken
ASKED = 0.45  # and from which it is asked for, where it can change the plan
_SURE = 0.8
_LEAST_FIT = 0.5
_CLOSE = 0.08
_CONTENT_ALONE = 0.62
_FEW_STATES = 12
_MOST_CLUSTERS = 500
_MOST_NODES = 16
_LEAST_CAP = 12
_SHORT_HEADER = 3
_SMALL = 50


@dataclass(frozen=True)
class ColumnGuess:
    """A column of the fleet, the column of the sheet that it is taken for, and why."""

    name: str
    profile: Profile
    likeness: float
    why: str
    sure: bool = True


def guess_columns(
    profiles: Sequence[Profile], wanted: Sequence[Wanted], sheet: Sheet, hubs: frozenset[str]
) -> tuple[list[ColumnGuess], dict[str, list[ColumnGuess]]]:
    """Return which of ``profiles`` is which of the columns ``wanted``, and for each column what else it could be.

    The likeliest pair is taken first, and no column twice.
    """
    scores = np.zeros((len(profiles), len(wanted)))
    for i, profile in enumerate(profiles):
        for j, want in enumerate(wanted):
            scores[i, j] = _score(profile, want, sheet, hubs)
    scores[scores < ASKED] = 0.0
    taken, rivals = [], dict[str, list[ColumnGuess]]()
    for i, j in _best_first(scores):
        want = wanted[j]
        others = [k for k in np.argsort(-scores[:, j]).tolist() if scores[k, j] >= ASKED]
        rivals[want.name] = [_guess(profiles[k], want, scores[k, j], hubs) for k in others]
        if scores[i, j] >= (ASKED if want.matters else TAKEN):
            close = [
                k for k in others if k != i and scores[k, j] > scores[i, j] - _CLOSE and scores[k].max() <= scores[k, j]
            ]
            sure = scores[i, j] >= (_SURE if want.matters else TAKEN) and not close
            guess = _guess(profiles[i], want, scores[i, j], hubs)
            taken.append(ColumnGuess(guess.name, guess.profile, guess.likeness, guess.why, sure))
    return taken, rivals


def _best_first(scores: Floats) -> list[tuple[int, int]]:
    """Return pairs of rows and columns, the greatest score first, each row and column once."""
    left, found = scores.copy(), list[tuple[int, int]]()
    while left.size and left.max() > 0:
        i, j = divmod(int(left.argmax()), left.shape[1])
        found.append((i, j))
        left[i, :] = 0.0
        left[:, j] = 0.0
    return found


def _guess(profile: Profile, want: Wanted, score: float, hubs: frozenset[str]) -> ColumnGuess:
    return ColumnGuess(want.name, profile, round(float(score), 2), _why(profile, want, hubs))


def _why(profile: Profile, want: Wanted, hubs: frozenset[str]) -> str:
    reasons = []
    if likeness(profile.header, want.patterns, want.against) >= ASKED:
        reasons.append("its header says so")
    if want.name in (TODAY_HUB, "pinned_hub") and profile.within(hubs) > 0.5:
        reasons.append("its values are hubs of the other table")
    elif want.name.endswith("release") and profile.version_share > 0.5:
        reasons.append("its values are written as versions are")
    elif want.name in ("latitude", "longitude"):
        reasons.append("its values are degrees")
    elif profile.share("date") > 0.5:
        reasons.append("its values are dates")
    return " and ".join(reasons) or "its values fit"


@lru_cache(maxsize=20_000)
def _score(profile: Profile, want: Wanted, sheet: Sheet, hubs: frozenset[str]) -> float:
    said = likeness(profile.header, want.patterns, want.against)
    if not profile.values:
        return 0.0
    fit = _fit(profile, want.name, sheet, hubs)
    if fit < _LEAST_FIT:
        return 0.0
    alone = _by_content(profile, want.name, hubs)
    both = min(0.99, max(said, alone) + 0.25) if alone and said > ASKED else 0.0
    return max(said * (0.5 + 0.5 * fit), alone, both)


def fits(profile: Profile, name: str, sheet: Sheet, hubs: frozenset[str]) -> bool:
    """Return whether the cells of a column of the sheet can be those of the column ``name`` of the fleet."""
    return _fit(profile, name, sheet, hubs) >= _LEAST_FIT


def _fit(profile: Profile, name: str, sheet: Sheet, hubs: frozenset[str]) -> float:
    """Return how well the values can be those of a column, from 0 to 1."""
    if name in (TODAY_HUB, "pinned_hub", "barred_hubs"):
        return names_hubs(profile, hubs) if hubs else 0.0
    if name == TODAY_HOST:
        return profile.share("text") if profile.share("text") >= 0.5 and names_hubs(profile, hubs) < 0.5 else 0.0
    if name == STATUS:
        few = len(profile.key_set) <= _FEW_STATES and len(profile.key_set) < len(profile.values)
        return float(few and profile.share("text") > 0.8)
    column = sheet.column(name)
    if column.kind in ("number", "whole"):
        return _fit_figures(profile, column)
    if name in ("name", "region", "owner", "crew"):
        return profile.share("text") if profile.share("date") < 0.5 else 0.0
    if column.kind == "release":
        return _fit_release(profile, column)
    if column.kind in ("date", "moment"):
        return profile.share("date") if profile.kinds and profile.share("date") > 0.95 else 0.0
    return profile.fits(column)


def _fit_release(profile: Profile, column: Column) -> float:
    few = len(profile.key_set) <= max(30, 0.3 * len(profile.values))
    written = max(profile.fits(column), profile.version_share)
    return written if few and profile.share("date") < 0.5 else 0.0


def _fit_figures(profile: Profile, column: Column) -> float:
    if profile.share("number") < 0.5 or not profile.figures:
        return 0.0
    if profile.nouns and not all(counts(column) & concepts for concepts in profile.nouns):
        return 0.0  # its cells count something else
    least = column.least if column.least is not None else -np.inf
    if column.name == "cluster_cap" and max(profile.figures) < _LEAST_CAP:
        return 0.5  # so few are rather hosts
    most = {"clusters": _MOST_CLUSTERS, "nodes": _MOST_NODES, "existing_hosts": 200, "max_hosts": 1000}
    highest = min(most.get(column.name, np.inf), column.highest or np.inf)
    inside = sum(least <= f <= highest and (column.kind != "whole" or f == round(f)) for f in profile.figures)
    return inside / len(profile.figures) * min(1.0, profile.share("number") + 0.2)


def _by_content(profile: Profile, name: str, hubs: frozenset[str]) -> float:
    """Return the likeness of a column whose cells alone say what it is; 0 for all others."""
    if name == "release" and profile.version_share > 0.9 and profile.share("text") > 0.3:
        return _CONTENT_ALONE if "HOST" not in concepts_in(profile.header) else 0.0
    if name == "clusters" and _is_short_count(profile):
        return 0.5
    if name == TODAY_HUB and len(hubs) > 1 and names_hubs(profile, hubs) > 0.9 and profile.share("text") > 0.5:
        return _CONTENT_ALONE
    return 0.0


def _is_short_count(profile: Profile) -> bool:
    """Return whether small whole numbers stand under a header such as N, of which no word says what is counted."""
    short = len(profile.header.strip(" .#")) <= _SHORT_HEADER and not concepts_in(profile.header).keys() - {
        "ID",
        "COUNT",
    }
    few = profile.figures and min(profile.figures) >= 1 and max(profile.figures) <= _SMALL
    few = few and all(figure == round(figure) for figure in profile.figures)
    return bool(short and few and profile.share("number") > 0.9 and 1 < len(profile.key_set) <= _SMALL)


def coordinates(profiles: Sequence[Profile], used: Collection[int]) -> list[ColumnGuess]:
    """Return the two columns that can only be latitude and longitude, where no header says so."""
    free = [p for p in profiles if p.column not in used and p.share("number") > 0.9 and _has_decimals(p)]
    for one, other in pairwise(free):
        if other.column - one.column != 1 or not concepts_in(one.header).keys() <= {"KM", "ZONE"}:
            continue
        inside = max(map(abs, one.figures)) <= 90 and max(map(abs, other.figures)) <= 180
        if inside and min(map(_decimals, one.values[:20])) >= 0 and _decimals_often(one) and _decimals_often(other):
            why = "its values are degrees with many decimals, and so are those beside it"
            return [ColumnGuess("latitude", one, 0.65, why), ColumnGuess("longitude", other, 0.65, why)]
    return []


def _has_decimals(profile: Profile) -> bool:
    return any(figure != round(figure) for figure in profile.figures)


def _decimals(value: object) -> int:
    text = str(value).replace(",", ".")
    return len(text.rpartition(".")[2]) if "." in text else 0


def _decimals_often(profile: Profile) -> bool:
    return sum(_decimals(v) >= 3 for v in profile.sample) > 0.5 * len(profile.sample)
