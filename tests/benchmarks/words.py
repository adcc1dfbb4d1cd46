"""How figures are written."""

from __future__ import annotations


def amount(value: float | None) -> str:
    """Return hosts or money with at most four decimals."""
    return "" if value is None else f"{value:,.4f}".rstrip("0").rstrip(".")


def seconds(value: float | None) -> str:
    """Return seconds with two or three digits that count."""
    return "" if value is None else f"{value:,.2f}" if value < 10 else f"{value:,.1f}"
