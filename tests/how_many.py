"""How many random cases tests try: few every day, and as many more as CASTINGVOTE_EXAMPLES asks for."""

import os

USUAL = 4  # what tests count in
EVERYDAY = 2
EXAMPLES = int(os.environ.get("CASTINGVOTE_EXAMPLES", EVERYDAY))
MORE = EXAMPLES > USUAL  # then fleets are as large as they are interesting, too
ALL_SAMPLES = os.environ.get("CASTINGVOTE_SAMPLES") == "all"


def tries(usual: int) -> int:
    """Return how many cases to try of a test that tries ``usual`` with `USUAL` examples."""
    return max(1, usual * EXAMPLES // USUAL)


def seeds(usual: int, most: int) -> range:
    """Return the seeds of as many cases, of ``most`` where many are asked for."""
    return range(min(tries(usual), most))


def mostly(met: int, among: int, share: float) -> bool:
    """Return whether at least a ``share`` of the cases met something; fewer than `USUAL` tell nothing of it."""
    return among < USUAL or met >= share * among
