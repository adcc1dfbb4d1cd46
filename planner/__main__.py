"""Lets `python -m planner` stand in for the command `castingvote`."""

from planner.cli import main

if __name__ == "__main__":
    main()
