"""A mutated book, adopted: no traceback, and no site lost or invented without a finding that says so."""

import random
from dataclasses import replace

from planner.errors import InputError
from planner.intake import adopt
from tests.adopt.mutations import mutated
from tests.adopt.trades import BOOKS, write

# Findings that tell of rows which were not read, or of a file that has to be mended first.
TELLING = frozenset(
    ("note_row", "total_row", "rows_left_out", "required_blank", "header_again", "rows_joined", "table_unread")
)


def small_books():
    """Return the five books with few branches each, so that hundreds of them take minutes."""
    return [make(number=40) for make in BOOKS]


def trial(book, seed, folder):
    """Return what is wrong with adopting a mutated book, in words; nothing if all is well."""
    rng = random.Random(seed)
    sheets, done = mutated(book, rng)
    path = write(replace(book, sheets=sheets, name=f"{book.name}_{seed}"), folder)
    words = f"{book.name}, seed {seed}: {'; '.join(done)}"
    try:
        adopting = adopt(path)
    except InputError as error:
        return [] if error.findings else [f"{words}: refused without a finding"]
    adoption = adopting.adoption({q.key: q.choices[0].key for q in adopting.adoption({}).open if q.choices})
    mapping = folder / f"{book.name}_{seed}.toml"
    mapping.write_text(adopting.mapping(adoption), encoding="utf-8")
    inspection = adopting.inspect(mapping)
    codes = {finding.code for finding in inspection.findings}
    if inspection.fleet is None:
        errors = [finding for finding in inspection.findings if finding.severity == "error"]
        return [] if errors else [f"{words}: no fleet and no error"]
    return [f"{words}: {wrong}" for wrong in _lost_or_invented(book.world, inspection.fleet, codes)]


def _lost_or_invented(world, fleet, codes):
    everybody = {site.id.lstrip("0") for site in world.sites}
    planned = {site.id.lstrip("0") for site in world.planned}
    read = {site.lstrip("0") for site in fleet.site_ids}
    if read - everybody:
        yield f"invented {sorted(read - everybody)[:5]}"
    lost = planned - read
    if len(lost) > 1 and not codes & TELLING:  # one row is taken away by a mutation itself
        yield f"lost {sorted(lost)[:5]} of {len(lost)}"
