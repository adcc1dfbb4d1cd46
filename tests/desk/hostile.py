"""Hostile files, as somebody could drop them on the desk: those of the tests of intake and of damaged files."""

import random

from tests.cli.test_damaged import flipped, within
from tests.intake.conftest import sound_rows, write_ods, write_xlsx
from tests.intake.test_corpus_files import HOSTILE, LONG, ODS, ods, rewritten

PLAIN = {
    "nothing.xlsx": b"",
    "text.xlsx": b"site,hub\n1,2\n",
    "page.xlsx": b"<html><table></table></html>",
    "old.xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "Workbook".encode("utf-16-le"),
    "locked.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
    "cut.xlsx": b"PK\x03\x04 and then nothing of use",
    "Sites.csv": b"\x00\xff" * 500,
    "Hubs.csv": b"site,name\n" + b'"' * 100_001,
    "deep.json": b'{"Sites": ' + b"[" * 100_000,
    "none.json": b'{"Sites": 3}',
    "rubbish.sqlite": b"SQLite format 3\0 and rubbish",
    "bomb.graphml": b'<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "aa">]><graphml>&a;</graphml>',
    "no.parquet": b"PAR1 no",
}
SOUND = 3  # sites of the sound fleet, which every file that is read has to show
DAMAGED = 4  # of each kind of damage


def hostile_files(folder):
    """Yield what each case is, its file, and whether it may be read: True, False, or None for either."""
    sound = write_xlsx(folder / "sound.xlsx", sound_rows())
    for at, (name, change, more, code) in enumerate(HOSTILE):
        path = rewritten(sound, folder / f"book-{at}.xlsx", change or (lambda _name, data: data), more)
        yield name, path, {"": True, "any": None}.get(code, False)
    for at, (name, cells, _code) in enumerate(ODS):
        yield name, ods(folder / f"table-{at}.ods", cells), False
    for name, content in PLAIN.items():
        yield name, written(folder / name, content), False
    for name, text in LONG.items():
        yield (
            f"cells of {name}",
            written(folder / f"{name}.csv", f"site,{text}\n{text},1\n".encode()),
            False,
        )
    rng = random.Random(5)
    for write, kind in ((write_xlsx, "xlsx"), (write_ods, "ods")):
        content = write(folder / f"whole.{kind}", sound_rows()).read_bytes()
        for spoil in (flipped, within):
            for number in range(DAMAGED):
                path = folder / f"{spoil.__name__}-{number}.{kind}"
                yield path.name, written(path, spoil(content, rng)), None


def written(path, content):
    path.write_bytes(content)
    return path
