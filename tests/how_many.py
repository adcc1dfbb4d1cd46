"""How many random cases tests try: few every day, and as many more as CASTINGVOTE_EXAMPLES asks for."""

import os

EVERYDAY = 4
MORE = "CASTINGVOTE_EXAMPLES" in os.environ  # then fleets are as large as they are interesting, too
EXAMPLES = int(os.environ.get("CASTINGVOTE_EXAMPLES", EVERYDAY))
ALL_SAMPLES = os.environ.get("CASTINGVOTE_SAMPLES") == "all"


def tries(everyday: int) -> int:
    """Return the number of cases of a test that tries ``everyday`` where nothing is asked for."""
    return max(1, everyday * EXAMPLES // EVERYDAY)
