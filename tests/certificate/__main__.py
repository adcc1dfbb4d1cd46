"""The campaign: `python -m tests.certificate --count 500 --mutations 200 --out folder`."""

from __future__ import annotations

import collections
import random
import sys
import time
from pathlib import Path

import click

import planner
from planner.errors import InputError
from planner.verify.certificate import verify_certificate
from tests.certificate.mutations import mutated
from tests.certificate.trial import fleet_of, trial

SAMPLES = sorted((Path(__file__).parents[2] / "sample_fleets").glob("*.xlsx"))


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--first", type=int, default=0, show_default=True, help="Seed of the first fleet.")
@click.option("--count", type=click.IntRange(min=0), default=100, show_default=True, help="Random fleets.")
@click.option("--mutations", type=click.IntRange(min=0), default=0, help="Changed certificates, which must be refused.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Keep the certificates in this folder.")
def main(first: int, count: int, mutations: int, out: Path | None) -> None:
    """Write certificates of the sample fleets and of random fleets, check them, and change them.

    Lists what is wrong, and the proven plans whose certificates prove less.
    """
    began, told = time.process_time(), collections.Counter()
    rng = random.Random(first)
    for name, fleet in _fleets(first, count):
        one = trial(0, fleet)
        told["fleets"] += 1
        told["wrong"] += bool(one.wrong)
        told["as much as the plan claims"] += one.reaches
        if one.wrong or not one.reaches:
            gap = one.wrong or f"{one.proven:g} of {one.claimed:g}"
            print(f"{name}: cover {fleet.policy.cover}, {fleet.policy.objective}, {one.kind}: {gap}", flush=True)
        if out is not None:
            out.mkdir(exist_ok=True)
            (out / f"{name}.vipr").write_text("\n".join(one.lines) + "\n")
        share = -(-mutations // max(1, count + len(SAMPLES)))
        for kind, lines in mutated(one.lines, rng, share):
            told["mutations"] += 1
            if verify_certificate(fleet, lines).verdict == "holds":
                told["mutations accepted"] += 1
                print(f"{name}: accepted with another {kind}", flush=True)
    print(dict(told), f"{time.process_time() - began:.1f} s of processor time", file=sys.stderr)


def _fleets(first: int, count: int):
    for path in SAMPLES:
        yield path.stem, planner.read_fleet(path)
    for seed in range(first, first + count):
        try:
            yield f"random_{seed}", fleet_of(seed)
        except InputError:
            continue


if __name__ == "__main__":
    main()
