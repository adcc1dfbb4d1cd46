"""The one command: `python -m tests.benchmarks.commands`."""

from __future__ import annotations

import csv
import dataclasses
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import click

from tests.benchmarks import machine
from tests.benchmarks.commands.cases import CASES, Case
from tests.benchmarks.commands.fleets import write_fleet
from tests.benchmarks.commands.measure import Used, measure

_HERE = Path(__file__).resolve().parents[3]
_ENDS = (0, 1)  # done, and done with an objection


@dataclass(frozen=True, slots=True)
class Row:
    """What a case took in the working copy that ``label`` names, and what it was held against in the same run."""

    case: str
    label: str
    processor_s: float
    clock_s: float
    peak_mb: float
    against_s: float | None = None
    against_mb: float | None = None
    most: float | None = None

    @property
    def ratio(self) -> float | None:
        """Processor time as a share of that of the other side."""
        return None if self.against_s is None else self.processor_s / self.against_s


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--cases", default="all", help=f"Comma-separated, out of: {', '.join(CASES)}.")
@click.option("--label", default="after", show_default=True, help="What to call the working copy in the table.")
@click.option(
    "--tree",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    default=_HERE,
    help="Working copy to measure, this one by default.",
)
@click.option("--seconds", type=float, default=300.0, show_default=True, help="Limit of the script's solver.")
@click.option("--out", type=click.Path(path_type=Path), help="CSV of all rows; those of other labels stay.")
def main(cases: str, label: str, tree: Path, seconds: float, out: Path | None) -> None:
    """Measure whole commands and a planner's own script on the same workbooks, one after the other.

    \b
    Example:
        python -m tests.benchmarks.commands --cases "--help,1000x40 towns" --out commands.csv
    """
    chosen = list(CASES) if cases == "all" else [name.strip() for name in cases.split(",")]
    if unknown := [name for name in chosen if name not in CASES]:
        raise click.BadParameter(f"{', '.join(unknown)}: not one of {', '.join(CASES)}")
    rows = read_rows(out)
    try:
        for name in chosen:
            row = _measured(name, label, tree.resolve(), seconds)
            rows = [one for one in rows if (one.case, one.label) != (name, label)] + [row]
            click.echo(_line(row), err=True)
            if out is not None:
                write_rows(out, rows)
    except KeyboardInterrupt:
        click.echo("Interrupted: what follows is what was measured before.", err=True)
    click.echo("\n".join([*machine.describe(), "", *as_markdown(rows)]))


def _measured(name: str, label: str, tree: Path, seconds: float) -> Row:
    case = CASES[name]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        _prepare(case, folder, tree)
        used = measure(case.command(folder), tree, case.times, _ENDS, **case.environment)
        other: Used | None = None
        if case.against is not None:
            other = measure(case.against(folder, seconds), tree, case.times)
    beside = (None, None) if other is None else (other.processor_s, other.peak_mb)
    return Row(name, label, used.processor_s, used.clock_s, used.peak_mb, *beside, case.most)


def _prepare(case: Case, folder: Path, tree: Path) -> None:
    if not case.fleet:
        return
    write_fleet(case.fleet, folder / "fleet.xlsx")
    if case.plan:
        files = [str(folder / "fleet.xlsx"), "--json", str(folder / "plan.json")]
        measure(["-m", "planner", "plan", *files, "-q"], tree, ends=_ENDS)


def _line(row: Row) -> str:
    return f"{row.case} ({row.label}): {row.processor_s:.2f} s of processor time, {row.peak_mb:.0f} MB, {_beside(row)}"


def _beside(row: Row) -> str:
    if row.ratio is None:
        return "nothing beside it"
    return f"{row.ratio:.2f} times {row.against_s:.2f} s"


def as_markdown(rows: Iterable[Row]) -> list[str]:
    """Return the table: a line for each case and label, in the order of the cases."""
    lines = ["| case | tree | processor s | clock s | peak MB | other side s | its MB | ratio | at most |"]
    lines.append("| --- " * 9 + "|")
    order = list(CASES)
    for row in sorted(rows, key=lambda row: order.index(row.case)):
        other = ["", "", ""]
        if row.ratio is not None:
            other = [f"{row.against_s:.2f}", f"{row.against_mb:.0f}", f"{row.ratio:.2f}"]
        most = "" if row.most is None else f"{row.most:g}"
        mine = [f"{row.processor_s:.2f}", f"{row.clock_s:.2f}", f"{row.peak_mb:.0f}"]
        lines.append(f"| {' | '.join([row.case, row.label, *mine, *other, most])} |")
    return lines


def write_rows(path: Path, rows: Iterable[Row]) -> None:
    """Write the rows as CSV with a header; blank where nothing was measured."""
    names = [field.name for field in dataclasses.fields(Row)]
    with path.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names)
        writer.writerows([getattr(row, name) for name in names] for row in rows)


def read_rows(path: Path | None) -> list[Row]:
    """Return the rows of such a CSV; none if there is no such file."""
    if path is None or not path.exists():
        return []
    with path.open(newline="") as file:
        return [_row(line) for line in csv.DictReader(file)]


def _row(line: dict[str, str]) -> Row:
    figures = {name: float(text) if text else None for name, text in line.items() if name not in ("case", "label")}
    return Row(line["case"], line["label"], **figures)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
