"""How the nouns show themselves in a session or a notebook: one line, and the first rows of their tables."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

_ROWS = 8  # of a table in a notebook; the frame itself has them all


class Shown:
    """A noun that says in `glance` what it comes to, what is not met first, and has its tables in ``..._frame``."""

    __slots__ = ()

    @property
    def glance(self) -> str:
        """What it comes to, in one line."""
        raise NotImplementedError

    @property
    def frames(self) -> dict[str, pd.DataFrame]:
        """Every table by name: ``frames["hosts"]`` is ``hosts_frame``."""
        names = [name for kind in type(self).__mro__ for name in vars(kind) if name.endswith("_frame")]
        return {name.removesuffix("_frame"): getattr(self, name) for name in names}

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.glance}>"

    def _repr_html_(self) -> str:
        """Return the line, and each table that has rows, to open."""
        parts = [f"<p><b>{type(self).__name__}</b>: {html.escape(self.glance)}</p>"]
        for name, frame in self.frames.items():
            if len(frame):
                rows = f"{len(frame):,} {'row' if len(frame) == 1 else 'rows'}"
                shown = frame.head(_ROWS).to_html(index=False, border=0, na_rep="")
                parts.append(f"<details><summary>{name}_frame, {rows}</summary>{shown}</details>")
        return "\n".join(parts)


def told(*parts: str) -> str:
    """Return the parts that say something, with a semicolon between them."""
    return "; ".join(part for part in parts if part)
