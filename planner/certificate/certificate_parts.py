"""The nouns of a certificate: classes of sites, rows of an integer program, and lines that are derived from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from planner.plan import Cover

Number = int | Fraction
Sense = Literal["L", "E", "G"]  # at most, equal, at least
SIGN: dict[Sense, int] = {"L": -1, "E": 0, "G": 1}


@dataclass(frozen=True, slots=True)
class Scope:
    """Which plans the certificate speaks of: all that serve every site but those ``left_out``.

    Where ``cover`` is not ``none``, they also give a standby against such a loss to every served site but those
    ``bare``.
    """

    objective: str
    cover: Cover
    left_out: tuple[str, ...]
    bare: tuple[str, ...]

    @property
    def standbys(self) -> bool:
        """Whether the program says who stands by for whom: of hubs and zones, not of single hosts."""
        return self.cover in ("hub", "zone")


@dataclass(frozen=True, slots=True)
class SiteClass:
    """Sites that the program cannot tell apart, by id.

    ``homes``, ``standbys``: pools by position. ``clusters``, ``kbps`` and ``weight`` of one site. ``own``: price of its
    own tie-breaker by the objective, None where it cannot have one. ``prices``: of its circuit to each home.
    """

    sites: tuple[str, ...]
    homes: tuple[int, ...]
    standbys: tuple[int, ...]
    clusters: int
    own: Number | None
    covered: bool
    kbps: Number
    weight: Number
    prices: tuple[Number, ...]


@dataclass(frozen=True, slots=True)
class Flow:
    """Where a variable sends units of its class: ``home``, and ``standby`` (None: none is asked for)."""

    home: int
    standby: int | None


@dataclass(frozen=True, slots=True)
class Row:
    """A constraint of the program: the variables ``at`` with their coefficients ``by``, ``sense``, ``rhs``."""

    name: str
    sense: Sense
    rhs: Number
    at: Sequence[int]
    by: Sequence[Number]


@dataclass(frozen=True)
class Block:
    """The variables of one class: its flows from ``start`` on, then ``own`` (None where it has none)."""

    start: int
    flows: tuple[Flow, ...]
    own: int | None
    unit: int  # units of one site: 1, or its clusters where sites may be split
    items: int  # clusters of a unit


@dataclass
class Program:
    """minimise ``objective`` over whole numbers of 0 or more, where the first variables are at most ``most``.

    Constraint j says that variable j is at least 0, constraint ``variables + p`` that there are at most ``most[p]``
    hosts of pool p; the ``rows`` follow. ``of_class``: the class of each variable, -1 for none. The lookups are of
    constraints: ``demand`` by class, ``room``, ``kept`` and ``added`` by pool, ``sizes`` by clusters and pool,
    ``ready`` by loss and pool, ``one_lost`` as they were asked for.
    """

    pools: list[str]
    classes: list[SiteClass]
    scope: Scope
    names: list[str]
    of_class: list[int]
    blocks: list[Block]
    objective: dict[int, Number]
    most: list[int]
    rows: list[Row] = field(default_factory=list)
    demand: list[int] = field(default_factory=list)
    room: dict[int, int] = field(default_factory=dict)
    kept: dict[int, int] = field(default_factory=dict)
    added: dict[int, int] = field(default_factory=dict)
    sizes: dict[tuple[int, int], int] = field(default_factory=dict)
    ready: dict[tuple[int, int], int] = field(default_factory=dict)
    one_lost: list[int] = field(default_factory=list)
    told_lost: list[tuple[int, tuple[int, ...]]] = field(default_factory=list)  # divisor and classes of each of these
    group: list[int] = field(default_factory=list)  # the loss that each pool is counted with

    @property
    def variables(self) -> int:
        """Number of variables."""
        return len(self.names)

    @property
    def constraints(self) -> int:
        """Number of constraints."""
        return self.variables + len(self.most) + len(self.rows)

    def upper(self, pool: int) -> int:
        """Return the constraint that limits the hosts of a pool."""
        return self.variables + pool

    def add(self, row: Row) -> int:
        """Take in a row and return its constraint."""
        self.rows.append(row)
        return self.constraints - 1

    def row(self, constraint: int) -> Row:
        """Return a constraint; those that limit single variables are made as they are asked for."""
        if constraint < self.variables:
            return Row(f"at_least_{self.names[constraint]}", "G", 0, (constraint,), (1,))
        pool = constraint - self.variables
        if pool < len(self.most):
            return Row(f"at_most_{self.names[pool]}", "L", self.most[pool], (pool,), (1,))
        return self.rows[pool - len(self.most)]


@dataclass(eq=False, slots=True)
class Line:
    """A derived constraint: what it says, why, and what it ``uses`` with multipliers.

    ``kind``: ``lin``, a linear combination; ``rnd``, one that is rounded; ``asm``, an assumption; ``uns``, what holds
    under both halves of a split, which ``uses`` names as line, assumption, line, assumption.
    """

    sense: Sense
    rhs: Number
    by: dict[int, Number]
    kind: Literal["lin", "rnd", "asm", "uns"]
    uses: tuple[tuple[Reference, Number], ...] = ()


Reference = int | Line  # a constraint of the program, or a derived one
