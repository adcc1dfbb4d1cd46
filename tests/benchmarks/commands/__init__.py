"""Whole commands, from the start of Python to the files on the disk, beside a planner's own script."""
