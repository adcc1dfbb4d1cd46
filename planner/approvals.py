"""Who approved which plan, by its hash; and whether a plan is still the one that was approved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from planner.identity import plan_hash
from planner.plan import Plan

DECISIONS = ("approved", "refused")
_SHOWN = 12  # digits of a hash that people compare


@dataclass(frozen=True, slots=True)
class Approval:
    """A row of the sheet Approval that somebody filled in. ``date`` and ``decision`` are as written, "" for a blank."""

    name: str
    role: str
    date: str
    decision: str
    plan_hash: str
    remarks: str = ""
    where: str = ""


@dataclass(frozen=True)
class SignOff:
    """What the approvals of a plan come to.

    ``verdict``: ``signed``, all who decided approved this very plan; ``changed``, somebody approved another one, of
    another hash; ``refused``; ``open``, nobody approved it, or somebody has no decision or date yet.
    """

    verdict: Literal["signed", "changed", "refused", "open"]
    plan_hash: str
    words: tuple[str, ...]
    approvals: tuple[Approval, ...] = ()

    @property
    def broken(self) -> bool:
        """Whether this is not the plan that was approved."""
        return self.verdict in ("changed", "refused")


def sign_off(plan: Plan, approvals: Sequence[Approval]) -> SignOff:
    """Return whether ``plan`` is still the one that the ``approvals`` are of."""
    now = plan_hash(plan)
    other = [one for one in approvals if not _of(one, now)]
    refused = [one for one in approvals if one.decision.casefold() == "refused"]
    waiting = [one for one in approvals if one.decision.casefold() not in DECISIONS or not (one.date and one.name)]
    words = [_words(one, now) for one in approvals]
    if not approvals:
        return SignOff("open", now, (f"Nobody has approved this plan yet. Its hash is {now[:_SHOWN]}.",))
    if other:
        return SignOff("changed", now, ("This is not the plan that was approved.", *words), tuple(approvals))
    if refused:
        return SignOff("refused", now, ("This plan was refused.", *words), tuple(approvals))
    if waiting:
        return SignOff("open", now, ("The approval of this plan is not complete.", *words), tuple(approvals))
    return SignOff(
        "signed", now, (f"This is the plan that was approved. Its hash is {now[:_SHOWN]}.", *words), tuple(approvals)
    )


def _of(approval: Approval, now: str) -> bool:
    """Say whether an approval is of the plan with the hash ``now``; as many digits as people compare are enough."""
    theirs = approval.plan_hash.casefold().rstrip(".…")
    return len(theirs) >= _SHOWN and now.startswith(theirs)


def _words(approval: Approval, now: str) -> str:
    name = approval.name or "Somebody without a name"
    who = f"{name}, {approval.role}" if approval.role else name
    when = f" on {approval.date}" if approval.date else ", without a date"
    said = approval.decision.casefold()
    if said not in DECISIONS:
        said = f'wrote "{approval.decision}", neither approved nor refused' if said else "has not decided"
    theirs = approval.plan_hash.casefold()
    which = (
        ""
        if _of(approval, now)
        else f" Hash of the approval: {theirs[:_SHOWN] or 'blank'}. Hash of this plan: {now[:_SHOWN]}."
    )
    return f"{who} ({approval.where}): {said}{when}.{which}"
