"""A raw sheet -> the tables on it, told by their shape alone: a row of words above rows of figures.

Titles above, two or three rows of header, blank rows within, several tables below or beside each other, totals and
footnotes at the end: what is a header is decided by how it fits the rows below it, in no language.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from planner.intake.adopt.block import Block, is_unit, joined_names
from planner.intake.adopt.kinds import CellKind, kind_of
from planner.intake.names import plain
from planner.intake.rawtable import RawSheet, is_blank, tidy

_HEADER_WITHIN = 25  # rows from the top of a table, in which its header is looked for
_SAMPLE = 12  # rows below a header that it is held against
_LEAST_SCORE, _LEAST_COVERAGE = 0.6, 0.6
_OFTEN = 0.3  # share of rows in which a column is filled
_MOST_HEADER_ROWS = 3
_LONGEST_GROUP = 40
_AHEAD = 4  # rows after a gap in which another table may begin, its title before it
_FEW_ROWS = 2
_ONE_MORE = 0.03  # what a further row of a header has to be better by


def blocks_of(raw: RawSheet) -> list[Block]:
    """Return the tables of a sheet, from the left and from the top."""
    found: list[list[Block]] = []
    for first, last in _column_runs(raw):
        found.append(list(_Run(raw, first, last).blocks()))
    merged: list[Block] = []
    for blocks in found:
        for block in blocks:
            left = next((b for b in merged if _is_one_table(b, block)), None)
            if left is None:
                merged.append(block)
            else:
                merged[merged.index(left)] = _beside(left, block)
    return merged


def _column_runs(raw: RawSheet) -> Iterator[tuple[int, int]]:
    """Yield the runs of columns without a column between them that is blank on the whole sheet."""
    used: set[int] = set()
    for row in raw.cells:
        used.update(i for i, cell in enumerate(row) if not is_blank(cell))
    start = None
    for column in range(max(used, default=-1) + 2):
        if column in used:
            start = column if start is None else start
        elif start is not None:
            yield start, column
            start = None


def _is_one_table(left: Block, right: Block) -> bool:
    """Return whether a blank column only divides a table: the same rows, and a header that does not begin anew."""
    same_rows = left.row == right.row and left.stop == right.stop
    return same_rows and plain(left.names[0]) != plain(right.names[0]) and left.columns[1] <= right.columns[0]


def _beside(left: Block, right: Block) -> Block:
    gap = right.columns[0] - left.columns[1]
    names, groups = (
        (*one, *[""] * gap, *other) for one, other in ((left.names, right.names), (left.groups, right.groups))
    )
    columns, stop = (left.columns[0], right.columns[1]), max(left.stop, right.stop)
    rows = max(left.header_rows, right.header_rows)
    return Block(left.raw, left.row, rows, columns, stop, names, groups, left.above)


class _Run:
    """A run of columns of a sheet, in which tables stand one below the other."""

    def __init__(self, raw: RawSheet, first: int, last: int) -> None:
        self.raw, self.first, self.last = raw, first, last
        self.rows = [i for i in range(len(raw.cells)) if any(not is_blank(c) for c in raw.cells[i][first:last])]
        self._kinds: dict[int, list[CellKind]] = {}

    def cells(self, i: int) -> list[Any]:
        row = self.raw.cells[i][self.first : self.last]
        return [*row, *[""] * (self.last - self.first - len(row))]

    def kinds(self, i: int) -> list[CellKind]:
        if i not in self._kinds:
            self._kinds[i] = [kind_of(cell) for cell in self.cells(i)]
        return self._kinds[i]

    def blocks(self) -> Iterator[Block]:
        position = 0
        while (found := self._next_head(position, _HEADER_WITHIN)) is not None:
            at, rows = found
            stop = self._end(at, rows)
            yield self._block(position, at, rows, stop)
            position = stop

    def _next_head(self, position: int, within: int) -> tuple[int, int] | None:
        """Return the first position of ``rows`` that heads a table, and of how many rows; None if there is none."""
        for at in range(position, min(position + within, len(self.rows) - 1)):
            rows = self._head_rows(at)
            if rows:
                return at, rows
        return None

    def _head_rows(self, at: int) -> int:
        """Return how many rows, from position ``at`` on, are a header; 0 if none is."""
        best, most = 0, _LEAST_SCORE
        for number in range(1, _MOST_HEADER_ROWS + 1):
            rows = self.rows[at : at + number]
            if len(rows) < number or rows[-1] - rows[0] != number - 1 or at + number >= len(self.rows):
                break
            if number > 1 and not self._goes_on(at, number):
                break
            score = self._score(at, number)
            score -= _ONE_MORE * (number - 1) if score else 0.0
            if score >= most or (best and number > 1 and score >= _LEAST_SCORE and self._contrasts(at, number)):
                best, most = number, max(score, most)
        return best

    def _goes_on(self, at: int, number: int) -> bool:
        """Return whether the last of ``number`` rows can belong to a header that begins at ``at``."""
        upper, lower = self.rows[at + number - 2], self.rows[at + number - 1]
        below = [cell for cell in self.cells(lower) if not is_blank(cell)]
        if all(is_unit(cell) for cell in below):
            return True
        if len(below) < 2:
            return False  # the title of a section
        if number == 2 and not self._may_be_group(upper):
            return False
        return all(kind in ("text", "") for kind in self.kinds(lower)) or self._fills_gaps(upper, lower)

    def _may_be_group(self, i: int) -> bool:
        filled = [(c, cell) for c, cell in enumerate(self.cells(i)) if not is_blank(cell)]
        texts = [tidy(str(cell)) for _, cell in filled]
        if any(kind in ("number", "date") for kind in self.kinds(i)):
            return False
        if any(len(text) > _LONGEST_GROUP or ": " in text or text.endswith(":") for text in texts):
            return False
        first = next((c for c in range(self.last - self.first) if self._column_filled(c)), 0)
        return len(filled) > 1 or filled[0][0] > first

    def _column_filled(self, column: int) -> bool:
        return any(not is_blank(self.cells(i)[column]) for i in self.rows[-_SAMPLE:])

    def _fills_gaps(self, upper: int, lower: int) -> bool:
        """Return whether a row only fills places that the row above leaves blank, as ids of hubs below a title do."""
        pairs = list(zip(self.cells(upper), self.cells(lower), strict=True))
        below = [c for c, (_, cell) in enumerate(pairs) if not is_blank(cell)]
        both = [c for c in below if not is_blank(pairs[c][0])]
        return (
            len(below) > 1 and len(both) <= 1 and len(below) < sum(not is_blank(x) or not is_blank(y) for x, y in pairs)
        )

    def _contrasts(self, at: int, number: int) -> bool:
        """Return whether the last row of a header is words, or units, where the rows below have figures."""
        row = self.rows[at + number - 1]
        if all(is_blank(cell) or is_unit(cell) for cell in self.cells(row)):
            return True
        kinds, usual = self.kinds(row), self._usual(self._below(at, number))
        filled = [c for c, kind in enumerate(kinds) if kind]
        figures = [c for c in filled if usual[c] in ("number", "date")]
        return bool(figures) and all(kinds[c] == "text" for c in figures)

    def _below(self, at: int, number: int) -> list[int]:
        """Return the rows below a header that it is held against: those before a gap, if there are some."""
        rows = self.rows[at + number : at + number + _SAMPLE]
        gaps = [k for k in range(1, len(rows)) if rows[k] - rows[k - 1] > 1]
        return rows[: gaps[0]] if gaps and gaps[0] >= _FEW_ROWS else rows

    def _usual(self, rows: Sequence[int]) -> list[CellKind]:
        """Return what most cells of each column are; blank where it is seldom filled."""
        usual: list[CellKind] = []
        for column in range(self.last - self.first):
            kinds = Counter(kind for i in rows if (kind := self.kinds(i)[column]))
            often = kinds.total() >= max(1, _OFTEN * len(rows))
            usual.append(kinds.most_common(1)[0][0] if often else "")
        return usual

    def _score(self, at: int, number: int) -> float:
        """Return how well rows head the rows below them, from 0 to 1."""
        below = self._below(at, number)
        usual = self._usual(below)
        names, _ = self._names(at, number)
        heads = {c for c, name in enumerate(names) if name}
        body = {c for c, kind in enumerate(usual) if kind}
        both = heads & body
        if len(heads) < 2 or not both or len(both) / len(heads | body) < _LEAST_COVERAGE:
            return 0.0
        last = [self._own_kind(at, number, c) for c in sorted(heads)]
        textual = sum(kind == "text" for kind in last) / len(heads)
        texts = {c: {plain(self.cells(i)[c]) for i in below} for c in both}
        contrast = 0.0
        for c in both:
            if usual[c] in ("number", "date"):
                contrast += self._own_kind(at, number, c) == "text"
            else:
                contrast += 0.5 * (plain(names[c]) not in texts[c])
        unique = len({plain(names[c]) for c in heads}) / len(heads)
        coverage = len(both) / len(heads | body)
        return coverage * (0.5 * textual + 0.3 * contrast / len(both) + 0.2 * unique)

    def _own_kind(self, at: int, number: int, column: int) -> CellKind:
        """Return what the lowest filled cell of a column of a header is."""
        for i in reversed(self.rows[at : at + number]):
            if self.kinds(i)[column]:
                return self.kinds(i)[column]
        return ""

    def _names(self, at: int, number: int) -> tuple[list[str], list[str]]:
        return joined_names([self.cells(i) for i in self.rows[at : at + number]])

    def _end(self, at: int, number: int) -> int:
        """Return the position in ``rows`` where the table headed at ``at`` ends."""
        usual = self._usual(self.rows[at + number : at + number + _SAMPLE])
        names = [plain(name) for name in self._names(at, number)[0]]
        for position in range(at + number + 1, len(self.rows)):
            if self.rows[position] - self.rows[position - 1] == 1:
                continue
            found = self._next_head(position, _AHEAD)
            if found is not None and self._is_another(found, usual, names):
                return position
        return len(self.rows)

    def _is_another(self, found: tuple[int, int], usual: list[CellKind], names: list[str]) -> bool:
        """Return whether a header belongs to another table than the one whose columns are ``usual``."""
        at, number = found
        others = [plain(name) for name in self._names(at, number)[0]]
        if others == names:
            return False
        filled = [c for c, name in enumerate(others) if name]
        known = {c for c, name in enumerate(names) if name}
        clash = sum(usual[c] in ("number", "date") and self._own_kind(at, number, c) == "text" for c in filled)
        apart = len(known & set(filled)) / len(known | set(filled)) < _LEAST_COVERAGE
        return apart or clash >= _OFTEN * len(filled)

    def _block(self, position: int, at: int, number: int, stop: int) -> Block:
        names, groups = self._names(at, number)
        row = self.rows[at]
        last_row = self.rows[stop - 1] + 1
        above = [tidy(str(c)) for i in self.rows[position:at] for c in self.cells(i) if not is_blank(c)]
        usual = self._usual(self.rows[at + number : min(stop, at + number + 50 * _SAMPLE)])
        used = [c for c, name in enumerate(names) if name or usual[c]]
        first, last = used[0], used[-1] + 1
        return Block(
            self.raw,
            row,
            number,
            (self.first + first, self.first + last),
            last_row,
            tuple(names[first:last]),
            tuple(groups[first:last]),
            tuple(above),
        )
