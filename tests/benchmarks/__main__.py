"""The one command: `python -m tests.benchmarks`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from planner.outputs.atomic import write_text
from tests.benchmarks import machine
from tests.benchmarks.chart import draw
from tests.benchmarks.engines import ENGINES
from tests.benchmarks.generated import read_size
from tests.benchmarks.report import as_markdown
from tests.benchmarks.runs import Row, run
from tests.benchmarks.sets import SETS
from tests.benchmarks.store import as_csv, merged, read_rows

_USUAL = tuple(name for name, one in SETS.items() if one.generated)


class Names(click.ParamType):
    """Comma-separated names out of a known list, or ``all``."""

    name = "names"

    def __init__(self, known: Sequence[str]) -> None:
        self.known = tuple(known)

    def convert(
        self, value: str | tuple[str, ...], param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        if isinstance(value, tuple):
            return value
        chosen = tuple(part.strip() for part in value.split(",") if part.strip())
        if unknown := [name for name in chosen if name not in (*self.known, "all")]:
            self.fail(f"{', '.join(unknown)} is not one of {', '.join(self.known)}, all", param, ctx)
        return self.known if "all" in chosen else chosen


def _sizes(_context: click.Context, _parameter: click.Parameter, value: str | None) -> list[str] | None:
    return None if value is None else ["{}x{}".format(*read_size(part)) for part in value.split(",")]


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--sizes", callback=_sizes, help="Sizes of the generated sets, sites x hubs: 1000x40,5000x100.")
@click.option("--engines", type=Names(tuple(ENGINES)), default=tuple(ENGINES), help=f"Out of {', '.join(ENGINES)}.")
@click.option(
    "--sets", type=Names(tuple(SETS)), default=_USUAL, help=f"Out of {', '.join(SETS)}; the generated ones if left out."
)
@click.option("--seconds", type=click.FloatRange(min=0.1), default=60.0, show_default=True, help="Limit of each solve.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for results.csv, results.md and chart.png; rows that are there already are kept or measured again.",
)
def main(
    sizes: list[str] | None, engines: tuple[str, ...], sets: tuple[str, ...], seconds: float, out: Path | None
) -> None:
    """Measure the sizing engine against straight models of the same question.

    Progress goes to standard error, the tables to standard output unless --out names a folder. Ctrl-C keeps what
    was measured so far. With --sets "" nothing is measured, and the rows in --out are written out again.

    \b
    Example:
        python -m tests.benchmarks --sets tight,mixed --engines castingvote,pulp-straight --seconds 300 --out results
    """
    about = machine.describe()
    rows: list[Row] = []
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        rows = read_rows(out / "results.csv")
    try:
        for of_set, name in _instances(sets, sizes):
            for row in run(of_set, name, engines, seconds):
                rows = merged(rows, row)
                if out is not None:  # at once, for a run may be long
                    write_text(out / "results.csv", as_csv(rows))
                click.echo(_progress(row), err=True)
    except KeyboardInterrupt:
        click.echo("Interrupted: what follows is what was measured before.", err=True)
    if out is None:
        click.echo(as_markdown(rows, about))
        return
    write_text(out / "results.md", as_markdown(rows, about))
    if not draw(rows, out / "chart.png"):
        click.echo("No chart: matplotlib is not installed, or no generated set was measured.", err=True)
    click.echo(f"Wrote {out}", err=True)


def _instances(sets: Sequence[str], sizes: Sequence[str] | None) -> Iterator[tuple[str, str]]:
    for of_set in sets:
        names = sizes if sizes is not None and SETS[of_set].generated else SETS[of_set].names()
        if not names:
            click.echo(f"{of_set}: no instances at hand, skipped", err=True)
        yield from ((of_set, name) for name in names)


def _progress(row: Row) -> str:
    if row.seconds is None:
        return f"{row.set} {row.instance} {row.engine}: {row.note}"
    proven = "proven" if row.proven else f"bound {row.bound}"
    return f"{row.set} {row.instance} {row.engine}: {row.value} ({proven}) in {row.seconds:.2f} s {row.note}".rstrip()


if __name__ == "__main__":
    main()
