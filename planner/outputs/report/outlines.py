"""Outlines of all countries: Natural Earth 1:110m, public domain (naturalearthdata.com, version 4.1.0).

``countries-110m.json`` is the unchanged file of the npm package world-atlas 2.0.2, which redistributes Natural Earth
as TopoJSON.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from planner.fleet import Floats
from planner.outputs.report.places import mercator

Outline = npt.NDArray[np.float32]  # half the size of float64 in the page, and good to a metre


def outlines(centre: float) -> tuple[list[Outline], list[Outline]]:
    """Return x and y of every outer ring in Web Mercator metres, within half a turn of longitude ``centre``.

    Rings are given once more on the other side of the date line where they are needed there. Holes are left out:
    in this file another country fills each of them.
    """
    xs, ys = [], []
    for ring in _rings():
        for turn in (-360.0, 0.0, 360.0):
            longitude = ring[:, 0] + turn
            if abs(longitude.mean() - centre) <= 200.0:
                x, y = mercator(longitude, ring[:, 1])
                xs.append(x.astype(np.float32))
                ys.append(y.astype(np.float32))
    return xs, ys


def _rings() -> Iterator[Floats]:
    """Yield longitude and latitude of each outer ring, shape (points, 2), as the TopoJSON specification decodes it."""
    topology = json.loads((files(__package__) / "countries-110m.json").read_text(encoding="utf-8"))
    scale, translate = (np.array(topology["transform"][name]) for name in ("scale", "translate"))
    arcs = [np.cumsum(np.array(arc), axis=0) * scale + translate for arc in topology["arcs"]]
    for country in topology["objects"]["countries"]["geometries"]:
        polygons = country["arcs"] if country["type"] == "MultiPolygon" else [country["arcs"]]
        for outer, *_holes in polygons:
            # A negative number is the arc of its complement, backwards; arcs share their end points.
            parts = [arcs[number] if number >= 0 else arcs[~number][::-1] for number in outer]
            yield np.concatenate([part[:-1] for part in parts])
