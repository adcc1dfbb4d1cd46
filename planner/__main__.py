"""The way in, as `castingvote` and as `python -m planner`: Ctrl-C is answered before anything is loaded."""

from planner.interrupts import leave_at_once, too_late


def main() -> None:
    """Run the command line with the arguments of the process and exit with its code."""
    leave_at_once()
    from planner.cli import main as run

    try:
        run()
    finally:
        too_late()


if __name__ == "__main__":
    main()
