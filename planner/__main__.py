"""The way in, as `castingvote` and as `python -m planner`: Ctrl-C is answered before anything is loaded."""

import atexit
import gc
import os
import sys

from planner.interrupts import leave_at_once, too_late

# A command makes many objects that live as long as itself, and few cycles: looking through them often finds nothing.
_OBJECTS_BETWEEN_COLLECTIONS = 1_000_000


def main() -> None:
    """Run the command line with the arguments of the process and exit with its code."""
    leave_at_once()
    # NumPy's products are small here: threads of its own take more time than they save.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS, 20, 20)
    from planner.cli import main as run
    from planner.cli.lean_libraries import load_lean_libraries

    load_lean_libraries()
    try:
        run()
    finally:
        too_late()


def program() -> None:
    """Do what `main` does and end the process, without the tenth of a second that taking all objects apart takes."""
    try:
        main()
    except SystemExit as ending:
        if not isinstance(ending.code, int) or not _printed():
            raise
        atexit._run_exitfuncs()
        os._exit(ending.code)


def _printed() -> bool:
    """Say whether all that was printed is out; where it is not, Python tells in its own way."""
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        return False
    return True


if __name__ == "__main__":
    program()
