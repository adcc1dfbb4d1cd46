"""From what a user asks to lose to losses that the fleet and the plan have."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.resilience.drills.drill_report import Loss, LossKind
from planner.resilience.drills.layout import Layout
from planner.resilience.drills.wan import BETWEEN, Wan, link_name

_PREFIXES: dict[str, LossKind] = {
    "host": "host",
    "hub": "hub",
    "zone": "zone",
    "link": "link",
    "node": "wan_node",
}


def read_losses(lose: Sequence[str], fleet: Fleet, layout: Layout, wan: Wan) -> tuple[Loss, ...]:
    """Return the losses that ``lose`` names, for example ``ESK-01``, ``hub:ESK``, ``link:R1--R2`` or ``node:R1``.

    Without a prefix the name is looked for among hosts, then hubs, zones and links. Raises InputError, with all names
    that were not found or fit two of them.
    """
    known = known_losses(fleet, layout, wan)
    losses, findings = [], []
    for asked in lose:
        fits = _fitting(asked, known)
        if len(fits) == 1:
            losses.append(fits[0])
        elif fits:
            choices = " or ".join(f"{_prefix(loss)}:{loss.name}" for loss in fits)
            findings.append(
                Finding("error", "loss_ambiguous", "--lose", f"{asked} has two meanings.", f"Say {choices}.")
            )
        else:
            findings.append(_unknown(asked, known))
    if findings:
        raise InputError(tuple(findings))
    return tuple(dict.fromkeys(losses))


def known_losses(fleet: Fleet, layout: Layout, wan: Wan) -> list[Loss]:
    """Return all that can be lost: hosts of the plan, hubs, zones of hubs or sites, WAN links and WAN nodes."""
    zones = {zone for table in (fleet.pools, fleet.sites) for named in table["zone"] for zone in named}
    return [
        *(Loss("host", name) for name in layout.names),
        *(Loss("hub", hub) for hub in fleet.hub_ids),
        *(Loss("zone", zone) for zone in sorted(zones)),
        *wan.losses(),
    ]


def _fitting(asked: str, known: Sequence[Loss]) -> list[Loss]:
    whole = [loss for loss in known if loss.name == _name(asked) and loss.kind != "wan_node"]
    before, colon, after = asked.partition(":")
    kind = _PREFIXES.get(before.strip().casefold()) if colon else None
    if kind is None or whole:
        return whole
    return [loss for loss in known if loss.kind == kind and loss.name == _name(after.strip())]


def _name(asked: str) -> str:
    """Return the name as losses have it: the ends of a link (``R1--R2``) in order."""
    ends = [end.strip() for end in asked.split(BETWEEN.strip())]
    return link_name(*ends) if len(ends) == 2 and all(ends) else asked


def _unknown(asked: str, known: Sequence[Loss]) -> Finding:
    names = {f"{_prefix(loss)}:{loss.name}": loss for loss in known}
    near = difflib.get_close_matches(asked.partition(":")[2] or asked, [loss.name for loss in known], n=1)
    close = next((text for text, loss in names.items() if near and loss.name == near[0]), "")
    hint = f"Was {close} meant?" if close else "Name a host of the plan, a hub, a zone or a link FROM--TO."
    message = f"{asked} is no host of the plan, no hub, zone or link of the fleet."
    return Finding("error", "loss_unknown", "--lose", message, hint)


def _prefix(loss: Loss) -> str:
    return next(prefix for prefix, kind in _PREFIXES.items() if kind == loss.kind)
