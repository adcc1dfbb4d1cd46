"""The one command: `python -m tests.independent`."""

from __future__ import annotations

import collections
import dataclasses
import json
import sys
import time
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from planner.errors import InputError
from tests.independent.compare import compare
from tests.independent.generator import BARRIERS, COVERS, OTHERS, USUAL, Wanted, tables_of
from tests.independent.model import Unsettled
from tests.independent.shrink import shrink
from tests.independent.tables import Tables

FEATURES = (*BARRIERS, *OTHERS, "split", "racks", "looser")
_LISTED = ", ".join(FEATURES)


class Names(click.ParamType):
    """Comma-separated names out of a known list."""

    name = "names"

    def __init__(self, known: Sequence[str]) -> None:
        self.known = known

    def convert(
        self, value: str | tuple[str, ...], param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        if isinstance(value, tuple):
            return value
        chosen = tuple(part.strip() for part in value.split(",") if part.strip())
        if unknown := [part for part in chosen if part not in self.known]:
            self.fail(f"{', '.join(unknown)}: use some of {', '.join(self.known)}", param, ctx)
        return chosen


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--first", type=int, default=0, show_default=True, help="Seed of the first fleet.")
@click.option("--count", type=click.IntRange(min=1), default=100, show_default=True, help="Fleets, one for each seed.")
@click.option(
    "--cover",
    "covers",
    type=Names(COVERS),
    default=USUAL,
    help="Kinds of cover that a fleet draws from: host,hub,zone. The same seed and kinds give the same fleet.",
)
@click.option("--with", "always", type=Names(FEATURES), default=(), help=f"Features of every fleet: {_LISTED}.")
@click.option("--without", "never", type=Names(FEATURES), default=(), help="Features that no fleet has.")
@click.option("--sites", "most_sites", type=click.IntRange(min=2), help="Most sites of a fleet; 7 or 8 if left out.")
@click.option("--shrink", "smaller", is_flag=True, help="Print the smallest part of each fleet that still differs.")
@click.option("--open", "open_too", is_flag=True, help="List plans too whose moves are not proven to be the fewest.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Append a line of JSON a difference.")
def main(first: int, count: int, smaller: bool, open_too: bool, out: Path | None, **like: Any) -> None:
    """Plan random small fleets, and list all in which a plan differs from the independent model.

    Example: python -m tests.independent --first 0 --count 500 --cover host,hub,zone --out differences.jsonl
    """
    wanted = Wanted(**like)
    kinds: collections.Counter[str] = collections.Counter()
    began = time.process_time()
    for seed in range(first, first + count):
        for record in _records(tables_of(seed, wanted), open_too=open_too):
            record = {"seed": seed, **dataclasses.asdict(wanted), **record}
            kinds[record["kind"]] += 1
            print(json.dumps(record), flush=True)
            if smaller:
                print(_smallest(tables_of(seed, wanted), record["kind"]))
            if out is not None:
                with out.open("a") as lines:
                    lines.write(json.dumps(record) + "\n")
    print(f"{count} fleets, {time.process_time() - began:.1f} s of processor time", file=sys.stderr)
    for kind, number in kinds.most_common():
        print(f"{number:6d}  {kind}", file=sys.stderr)


def _records(tables: Tables, *, open_too: bool = False) -> list[dict[str, Any]]:
    """Return what differs, and what could not be compared, as plain records."""
    head = {"cover": tables.setting("cover") or "none"}
    try:
        found = compare(tables, open_too=open_too)
    except InputError as error:
        return [head | {"kind": "refused as input", "plan": str(error)[:300], "truth": ""}]
    except Unsettled as error:
        return [head | {"kind": "not settled by CP-SAT", "plan": "", "truth": str(error)}]
    except Exception as error:  # one failing fleet must not end a run of thousands
        where = traceback.extract_tb(error.__traceback__)[-1]
        text = f"{type(error).__name__}: {error} ({Path(where.filename).name}:{where.lineno})"
        return [head | {"kind": "exception", "plan": text, "truth": ""}]
    return [head | {"kind": one.kind, "plan": one.plan, "truth": one.truth} for one in found]


def _smallest(tables: Tables, kind: str) -> str:
    """Return, as Python, the smallest part of ``tables`` that still shows a difference of this ``kind``."""
    return _as_text(shrink(tables, lambda less: any(record["kind"] == kind for record in _records(less))))


def _as_text(tables: Tables) -> str:
    """Return tables as Python that makes a fleet of them."""
    sheets = "".join(
        f'    "{name}": pd.DataFrame([\n' + "".join(f"        {row},\n" for row in rows) + "    ]),\n"
        for name, rows in tables.sheets.items()
        if rows
    )
    return f"fleet = planner.fleet_from_tables({{\n{sheets}}}, {dict(tables.policy)})"


if __name__ == "__main__":
    main()
