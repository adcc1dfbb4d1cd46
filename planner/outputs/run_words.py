"""The words of run sheets: what a step does, what is checked before and after, when to stop, how to go back.

All of it is common practice of the trade, no source, and names no supplier's commands.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from planner.counted_words import counted
from planner.schedule import Rollout, Step, StepKind, Wave

BEFORE_SITES = (
    "Latency: from each site to its new host, 100 probes or more; the round-trip time stays within the limit of the "
    "site's line below, and no more probes are lost than the policy allows.",
    "Both data nodes of each cluster are healthy, and no alarm is open at the site.",
    "The mirror between the two nodes is in sync; no copying is under way.",
    "The old tie-breaker answers, so that the cluster has three votes before the change.",
)
BEFORE_ALL = (
    "Steps of earlier waves that a line below waits for are done.",
    "The way back has been read, and the configuration as it is now has been saved.",
    "The owners of the sites know of the window; no freeze has been called.",
)
BEFORE_RELEASE = (
    "The supplier's release notes have been read for the old and the new release; a tried way back to the old one is "
    "at hand.",
)

STEPS: dict[StepKind, tuple[str, ...]] = {
    "attach": (
        "Add the tie-breaker on the new host to the cluster.",
        "Wait until both data nodes show three votes.",
    ),
    "move": (
        "Add the tie-breaker on the new host; leave the old one in place.",
        "Wait until both data nodes show the new one.",
        "Do the after-checks, then remove the old one. "
        "Where no new host is named, the site's own third vote takes over.",
    ),
    "detour": ("As a move. The stay on this host is for a while only: a later wave moves the site on.",),
    "host_install": (
        "Install the host with the release of its line, give it its place in network and backup, and let it answer.",
    ),
    "host_release": (
        "Change the release of the host alone, with nothing else under way on it; every cluster on it must see it "
        "again before the next step.",
    ),
    "host_retire": ("Look once more that no cluster uses the host, switch it off, and keep it for the way back.",),
    "site_release": ("Raise the cluster's release one data node at a time; wait for the mirror after each.",),
}

AFTER_SITES = (
    "Both data nodes show three votes, the third one on the host of the line.",
    "The round-trip time to that host, measured from the site, is within the limit.",
    "The mirror is in sync, and no new alarm is open.",
    "Each line has its status, date and initials on the sheet Steps; what was odd is in its remarks.",
)
AFTER_HOSTS = (
    "Each host changed in this wave answers, runs the release of its line, and carries the clusters it should.",
)

ROLLBACK = (
    "Of one site: add the old tie-breaker again, wait until both nodes show it, remove the new one, and do the checks "
    "again. Set the line to blocked and say why.",
    "Of a host: bring back the old release or configuration; first make sure that every cluster on it has two healthy "
    "nodes.",
)
STOP = (
    "A round-trip time is above its limit, or probes are lost.",
    "A data node fails, a mirror falls out of sync, or a cluster has fewer than two votes.",
    "A site that is not in this wave raises an alarm.",
    "Two lines in a row had to be rolled back.",
    "What is left of the window no longer suffices for the line and its way back.",
)
SIGN_OFF = ("Before-checks done", "Wave carried out", "After-checks done", "Released for the next wave")


def what(step: Step) -> str:
    """Return one line that says what a step does."""
    match step.kind:
        case "attach":
            return f"attach site {step.site} to {step.to_host}"
        case "move" if step.to_host is None:
            return f"detach site {step.site} from {step.from_host}"
        case "move":
            return f"move site {step.site} from {step.from_host} to {step.to_host}"
        case "detour":
            return f"move site {step.site} from {step.from_host} to {step.to_host} for a while"
        case "site_release":
            return f"raise site {step.site} to release {step.release}"
        case "host_install":
            return f"install host {step.host}{f' with release {step.release}' if step.release else ''}"
        case "host_release":
            return f"change host {step.host} to release {step.release}"
        case _:
            return f"retire host {step.host}"


def who_and_where(wave: Wave) -> str:
    """Return how many sites and hosts change, and who changes them."""
    own = len({step.host for step in wave.steps if step.host})
    crews = Counter(step.crew for step in wave.steps if step.site)
    named = [f"crew {crew}: {counted(number, 'step')}" for crew, number in sorted(crews.items()) if crew]
    if crews[""]:
        named.append(f"any crew: {counted(crews[''], 'step')}")
    parts = [counted(len(wave.sites), "site"), *([f"{counted(own, 'host')} changed"] if own else []), *named]
    return "; ".join(parts) + "."


_AT_SITES: tuple[tuple[StepKind, str], ...] = (
    ("move", "move"),
    ("attach", "first attachment"),
    ("detour", "detour"),
    ("site_release", "change of release"),
)
_AT_HOSTS: tuple[tuple[StepKind, str], ...] = (
    ("host_install", "installed"),
    ("host_release", "brought to another release"),
    ("host_retire", "retired"),
)


def steps_in_words(rollout: Rollout) -> str:
    """Return how many steps there are of each kind, such as ``80 steps: 36 moves and 44 detours at 78 sites``."""
    steps = list(rollout.steps)
    number = Counter(step.kind for step in steps)
    sites = {step.site for step in steps if step.site is not None}
    at_sites = [counted(number[kind], noun) for kind, noun in _AT_SITES if number[kind]]
    at_hosts = [f"{counted(number[kind], 'host')} {done}" for kind, done in _AT_HOSTS if number[kind]]
    parts = [f"{listed(at_sites)} at {counted(len(sites), 'site')}"] if at_sites else []
    return f"{counted(len(steps), 'step')}: {'; '.join([*parts, *at_hosts])}"


def left_out_in_words(rollout: Rollout) -> str:
    """Return how much of the plan no wave brings about, as the end of a sentence; "" where nothing is left out."""
    parts = len(rollout.conflicts)
    return f"; {counted(parts, 'part')} of the plan {'is' if parts == 1 else 'are'} left out" if parts else ""


def listed(parts: Sequence[str]) -> str:
    """Return parts as a list in words.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(part for part in (", ".join(parts[:-1]), *parts[-1:]) if part)
