"""The way in, as `castingvote` and as `python -m planner`: Ctrl-C is answered before anything is loaded."""

import gc

from planner.interrupts import leave_at_once, too_late

# A command makes many objects that live as long as itself, and few cycles: looking through them often finds nothing.
_OBJECTS_BETWEEN_COLLECTIONS = 200_000


def main() -> None:
    """Run the command line with the arguments of the process and exit with its code."""
    leave_at_once()
    gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS, 20, 20)
    from planner.cli import main as run

    try:
        run()
    finally:
        too_late()


if __name__ == "__main__":
    main()
