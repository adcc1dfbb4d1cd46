"""Who approved which plan, by its hash; and whether a plan is still the one that was approved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from planner.identity import plan_hash
from planner.plan import Plan

DECISIONS = ("approved", "refused")
# Dictionary words for the two, as people write them.
_APPROVED = """approved approve yes y ok okay agreed accepted ✓ ✔ ✅ genehmigt freigegeben zugestimmt ja approuvé
approuvée validé validée accepté oui aprobado aprobada autorizado sí si approvato approvata
autorizzato sì aprovado aprovada sim goedgekeurd akkoord godkänd godkänt godkendt godkjent
hyväksytty zatwierdzono zatwierdzone zgoda tak schváleno jóváhagyva igen aprobat da onaylandı evet
одобрено утверждено да 承認 批准 승인"""
_REFUSED = """refused refuse rejected declined no n abgelehnt nein refusé refusée rejeté non rechazado rechazada
rifiutato respinto recusado rejeitado não afgekeurd geweigerd nee avvisad avslagen avvist afvist
hylätty odrzucono nie zamítnuto elutasítva nem respins nu reddedildi hayır отклонено нет 却下 拒绝 거부"""
_MEANING = {
    **{word.casefold(): DECISIONS[0] for word in _APPROVED.split()},
    **{word.casefold(): DECISIONS[1] for word in _REFUSED.split()},
}
ROLES = ("planned by", "checked by", "approved by")
_NO_APPROVERS = ROLES[:2]
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


def decision_of(text: str) -> str:
    """Return which of the two a decision is, in any of the languages; blank where it is neither.

    >>> decision_of("Genehmigt!"), decision_of("refusé"), decision_of("maybe")
    ('approved', 'refused', '')
    """
    return _MEANING.get(text.strip(" .!\N{VARIATION SELECTOR-16}").casefold(), "")


def sign_off(plan: Plan, approvals: Sequence[Approval]) -> SignOff:
    """Return whether ``plan`` is still the one that the ``approvals`` are of."""
    now = plan_hash(plan)
    other = [one for one in approvals if not _of(one, now)]
    refused = [one for one in approvals if decision_of(one.decision) == "refused"]
    waiting = [one for one in approvals if not (decision_of(one.decision) and one.date and one.name)]
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


def approvers(plan: Plan, approvals: Sequence[Approval]) -> str:
    """Return the names of those who approved this very ``plan``; who planned or checked it is none of them."""
    now = plan_hash(plan)
    signed = (one for one in approvals if _of(one, now) and decision_of(one.decision) == "approved")
    names = (one.name for one in signed if one.name and one.role.casefold() not in _NO_APPROVERS)
    return "; ".join(dict.fromkeys(names))


def _of(approval: Approval, now: str) -> bool:
    """Say whether an approval is of the plan with the hash ``now``; as many digits as people compare are enough."""
    theirs = approval.plan_hash.casefold().rstrip(".…")
    return len(theirs) >= _SHOWN and now.startswith(theirs)


def _words(approval: Approval, now: str) -> str:
    name = approval.name or "Somebody without a name"
    who = f"{name}, {approval.role}" if approval.role else name
    when = f" on {approval.date}" if approval.date else ", without a date"
    said, written = decision_of(approval.decision), approval.decision
    if said and said != written.casefold():
        said = f'{said} ("{written}")'
    elif not said:
        said = f'wrote "{written}", neither approved nor refused' if written else "has not decided"
    theirs = approval.plan_hash.casefold()
    which = (
        ""
        if _of(approval, now)
        else f" Hash of the approval: {theirs[:_SHOWN] or 'blank'}. Hash of this plan: {now[:_SHOWN]}."
    )
    return f"{who} ({approval.where}): {said}{when}.{which}"
