"""What a Plan is made of: hosts, assignments, who is left out and why, aims, proof. Frozen, comparable, plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Evidence = Literal["measured", "modelled", "estimated"]
Status = Literal["optimal", "feasible"]
Action = Literal["keep", "attach", "move"]
Objective = Literal["hosts", "new_hosts", "cost"]
Known = Literal["measured", "modelled", "estimated", "unknown"]
Outcome = Literal["within", "beyond"]
Cover = Literal["none", "host", "hub", "zone"]
Spared = Literal["own_tie_breaker", "no_clusters"]


@dataclass(frozen=True, slots=True)
class Host:
    """A tie-breaker host that runs in the plan.

    ``cap`` is the cluster cap of its pool, ``usable`` what reserve and blast radius leave of it.
    """

    host: str
    hub: str
    pool: str
    release: str
    clusters: int
    cap: int
    usable: int
    existing: bool


@dataclass(frozen=True, slots=True)
class Assignment:
    """A site (or, where sites may be split, some of its clusters) and the host that serves it.

    ``standby`` names the host that takes over when a loss that the plan covers takes the other away.
    ``measured_at`` is when a measured RTT was measured, in ISO 8601; None where that is not known. An estimated RTT
    has the range within which a measurement is to be expected.
    """

    site: str
    host: str
    hub: str
    clusters: int
    rtt_ms: float
    budget_ms: float
    evidence: Evidence
    standby: str | None = None
    moved_from: str | None = None  # its host (or hub, if the host is not named) before the plan, when that changes
    action: Action = "attach"
    standby_rtt_ms: float | None = None
    measured_at: str | None = None
    rtt_low_ms: float | None = None
    rtt_high_ms: float | None = None

    @property
    def margin_ms(self) -> float:
        """Latency budget minus RTT, in ms; never negative in a sound plan."""
        return self.budget_ms - self.rtt_ms


@dataclass(frozen=True, slots=True)
class Reason:
    """One broken rule, with figures: ``code`` names the rule, ``detail`` is for people."""

    code: str
    detail: str

    def __str__(self) -> str:
        return f"{self.code}: {self.detail}"


@dataclass(frozen=True, slots=True)
class Unserved:
    """A site without a tie-breaker, why, and (``remedy``) what would change that.

    ``current`` is its host today (or hub, if the host is not named), None where nobody serves it.
    """

    site: str
    clusters: int
    reasons: tuple[Reason, ...]
    remedy: str = ""
    current: str | None = None


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A served site without a standby, although the policy asks for cover, and why."""

    site: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class CoverPrice:
    """What a kind of cover takes: hosts, the objective with its bound, sites served, and those with a standby.

    ``alike`` counts the sites that every kind covers, and ``alike_value`` with its bound is the objective of a plan of
    these alone: the figures to compare. ``moves`` counts the sites that change host, None where the fleet says nothing
    of today; ``moves_proven``: no plan of as good an objective moves fewer.
    """

    cover: Cover
    hosts: int
    objective_value: float
    lower_bound: float
    served: int
    covered: int
    alike: int
    alike_value: float
    alike_bound: float
    moves: int | None = None
    moves_proven: bool = False


@dataclass(frozen=True, slots=True)
class NoHostNeeded:
    """A site that needs no shared host: ``why`` is ``own_tie_breaker`` or ``no_clusters``."""

    site: str
    why: Spared


@dataclass(frozen=True, slots=True)
class Proof:
    """Why no plan that serves the same sites can have a smaller objective.

    ``kind`` says how far the claim reaches; ``words`` is for people; ``details`` is plain JSON data.
    """

    kind: str = "none"
    words: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Aim:
    """What became of an aim: its ``value``, and a ``bound`` that no plan which is as good on the aims before beats.

    ``proven``: the value is the best there is, and so are those of all aims before it. Aims in order: ``served`` is the
    weight of the sites with a third vote (their own tie-breaker included), ``covered`` that of those which keep it
    after a loss that the plan covers; then the objective. Then ``moves``, sites whose host is another than today (see
    `moved_sites`); ``latency``, total RTT in ms; ``margin``, the smallest latency margin in ms; ``spread``, the
    clusters on the fullest host. Of ``served``, ``covered`` and ``margin`` the bound is an upper one, else a lower one.
    """

    aim: str
    value: float
    bound: float
    proven: bool


@dataclass(frozen=True, slots=True)
class MeasureFirst:
    """A pair whose measurement would change the plan, if it turned out ``within`` its budget, or ``beyond`` it.

    Pairs of one ``rank`` change it only ``together``, that is as many as this says. ``rtt_ms`` and ``evidence`` are
    what is known of the pair now; ``hosts`` and ``unserved`` are those of the plan that results.
    """

    rank: int
    site: str
    hub: str
    evidence: Known
    rtt_ms: float | None
    budget_ms: float
    outcome: Outcome
    together: int
    hosts: int
    unserved: int
    words: str


@dataclass(frozen=True, slots=True)
class Identity:
    """What is known of a plan without reading it: ``number``, ``hash``, the id of its fleet, what it ``follows``."""

    number: int
    hash: str
    fleet_id: str = ""
    follows: str = ""
