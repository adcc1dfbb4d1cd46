"""Ways in which exports differ from month to month and from clerk to clerk: each spoils a book a little.

A mutation changes the rows of one sheet in place and returns what was done in words.
"""

import copy

NOTES = ("* provisional", "Source: estate inventory, November", "For internal use only.", "Stand: 02.11.2026")


def widest(rows):
    return max(map(len, rows), default=1)


def heads(rows):
    """Return the row that is the header: the first that is as wide as the table below it."""
    return next((i for i, row in enumerate(rows) if sum(c not in ("", None) for c in row) >= 0.6 * widest(rows)), 0)


def some_row(rows, rng):
    first = heads(rows) + 1
    return rng.randrange(first, len(rows)) if first < len(rows) else None


def title_above(rows, rng):
    rows[:0] = [[rng.choice(NOTES)], []]
    return "a title above"


def blank_row(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        rows.insert(at, [])
    return "a blank row"


def footnote(rows, rng):
    rows += [[], [rng.choice(NOTES)]]
    return "a footnote"


def total(rows, rng):
    numbers = ["" if k == 0 else 12 for k in range(widest(rows))]
    numbers[0] = rng.choice(["Total", "Summe", "Total général", "Suma", "TOTAL:", "Average", "Mittelwert"])
    rows.append(numbers)
    return "a total"


def header_again(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        rows.insert(at, list(rows[heads(rows)]))
    return "the header again"


def blanks_around(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        rows[at] = [f"  {c}\u00a0" if isinstance(c, str) and c else c for c in rows[at]]
    return "blanks around texts"


def number_as_text(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        rows[at] = [str(c) if isinstance(c, int | float) else c for c in rows[at]]
    return "numbers as text"


def cell_blank(rows, rng):
    at = some_row(rows, rng)
    if at is not None and rows[at]:
        rows[at][rng.randrange(len(rows[at]))] = ""
    return "a blank cell"


def cell_error(rows, rng):
    at = some_row(rows, rng)
    if at is not None and len(rows[at]) > 1:
        rows[at][rng.randrange(1, len(rows[at]))] = "#N/A"
    return "an error value"


def cell_word(rows, rng):
    at = some_row(rows, rng)
    if at is not None and len(rows[at]) > 1:
        rows[at][rng.randrange(1, len(rows[at]))] = "see note"
    return "a word in a cell"


def row_twice(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        rows.insert(at, list(rows[at]))
    return "a row twice"


def row_gone(rows, rng):
    at = some_row(rows, rng)
    if at is not None:
        del rows[at]
    return "a row gone"


def column_gone(rows, rng):
    at = rng.randrange(widest(rows))
    for row in rows:
        if len(row) > at > 0:
            del row[at]
    return "a column gone"


def columns_moved(rows, rng):
    width, top = widest(rows), heads(rows)
    order = rng.sample(range(width), width)
    for i in range(top, len(rows)):
        padded = [*rows[i], *[""] * (width - len(rows[i]))]
        if sum(c not in ("", None) for c in padded) > 1:
            rows[i] = [padded[k] for k in order]
    return "columns in another order"


def column_added(rows, rng):
    top = heads(rows)
    for i in range(top, len(rows)):
        if rows[i]:
            rows[i] = [*rows[i], *[""] * (widest(rows[: top + 1]) - len(rows[i]))]
            rows[i].append("Remarks" if i == top else rng.choice(["", "ok", "call first"]))
    return "a column of remarks"


def upper_case(rows, rng):
    top = heads(rows)
    rows[top] = [c.upper() if isinstance(c, str) else c for c in rows[top]]
    return "the header in capitals"


def sorted_backwards(rows, rng):
    top = heads(rows)
    rows[top + 1 :] = rows[top + 1 :][::-1]
    return "rows in another order"


def unknown_way(rows, rng):
    at = some_row(rows, rng)
    if at is not None and len(rows[at]) > 1:
        rows[at][-1] = rng.choice(["timeout", ">900", "< 3", "unreachable", "12,5", "1.234,5", "n/a"])
    return "a bound or a word for not measured"


MUTATIONS = (
    title_above, blank_row, footnote, total, header_again, blanks_around, number_as_text, cell_blank, cell_error,
    cell_word, row_twice, row_gone, column_gone, columns_moved, column_added, upper_case, sorted_backwards, unknown_way,
)  # fmt: skip


def mutated(book, rng):
    """Return the sheets of a book after one to three mutations, and what was done."""
    sheets = copy.deepcopy(book.sheets)
    done = []
    for _ in range(rng.randint(1, 3)):
        title = rng.choice(sorted(sheets))
        mutation = rng.choice(MUTATIONS)
        if sheets[title]:
            done.append(f"{mutation(sheets[title], rng)} on {title}")
    return sheets, done
