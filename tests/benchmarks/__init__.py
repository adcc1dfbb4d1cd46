"""Benchmarks of the sizing engine against straight models: `python -m tests.benchmarks --help`.

They report and never assert a time; `tests/test_benchmarks_smoke.py` keeps them running.
"""
