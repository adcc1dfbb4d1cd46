"""The desk: a page on one's own machine, from the spreadsheet to the plan, with no reading or planning of its own.

The server (``server``, ``guard``, ``workspaces``) loads no library of figures, so that it is there at once; two worker
processes (``worker``, started by ``crew``) read, count and plan. They speak in frames of plain data (``frames``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.desk.serving import serve

__all__ = ["serve"]

_HOMES = {"serve": "serving"}
__getattr__ = on_demand(__name__, _HOMES)
