"""The words of run sheets: what a step does, what is checked before and after, when to stop, how to go back.

All of it is common practice of the trade, no source, and names no supplier's commands.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from planner.counted_words import counted
from planner.schedule import Rollout, Step, StepKind, Wave

BEFORE_SITES = (
    "Latency is measured from each site to its new host with 100 probes or more. Each round-trip time is within the "
    "RTT limit of its line below. No more probes were lost than the policy allows.",
    "Both data nodes of each cluster are healthy, and no alarm is open at the site.",
    "The mirror between the two nodes is in sync. No copying is in progress.",
)
BEFORE_MOVES = ("At each site that moves, the old tie-breaker answers: the cluster has three votes before the change.",)
BEFORE_ALL = (
    "Steps of earlier waves that a line below waits for are done.",
    "Everybody has read the way back below. The present configuration is saved.",
    "The owners of the sites know the time of this wave. No freeze has been announced.",
)
BEFORE_RELEASE = (
    "You have read the supplier's release notes for the old and the new release. A tested way back to the old one is "
    "ready.",
)

STEPS: dict[StepKind, tuple[str, ...]] = {
    "attach": (
        "Add the tie-breaker on the new host to the cluster.",
        "Wait until both data nodes show three votes.",
    ),
    "move": (
        "Add the tie-breaker on the new host; leave the old one in place.",
        "Wait until both data nodes show the new tie-breaker.",
        "Do the checks of section After, then remove the old tie-breaker. "
        "If the line names no new host, the site's own tie-breaker takes over.",
    ),
    "detour": ("The same as a move. The site stays on this host only until a later wave moves it on.",),
    "host_install": (
        "Install the host with the release of its line. Connect it to network and backup. Check that it answers.",
    ),
    "host_release": (
        "Change the release of the host, and nothing else on it at the same time. Wait until every cluster on it sees "
        "it again, then go on.",
    ),
    "host_retire": ("Check once more that no cluster uses the host. Switch it off, and keep it for the way back.",),
    "site_release": ("Upgrade one data node at a time. Wait until the mirror is in sync after each.",),
}

AFTER_SITES = (
    "Both data nodes show three votes, the third one on the host of the line. Write yes or no into three votes seen.",
    "The round-trip time to that host, measured from the site, is within the limit. Write it into RTT after ms.",
    "The mirror is in sync, and no new alarm is open.",
    "Each line has its status, date and initials on the sheet Steps. Anything unusual is in its remarks.",
)
AFTER_HOSTS = (
    "Each host changed in this wave answers, runs the release of its line, and carries the clusters of the plan.",
)

ROLLBACK = (
    "For a site that had a tie-breaker: add the old one again and wait until both nodes show it. Then remove the new "
    "one, and repeat the checks.",
    "For a site that had none: remove the new tie-breaker.",
    "For a host: first make sure that every cluster on it has two healthy nodes. Then restore the old release or "
    "configuration.",
    "Set the line to blocked on the sheet Steps, and say why in its remarks.",
)
STOP = (
    "A round-trip time is above its limit, or probes are lost.",
    "A data node fails, a mirror falls out of sync, or a cluster has fewer than two votes.",
    "A site that is not in this wave raises an alarm.",
    "You had to go back at two steps, one after the other.",
    "The time that is left is too short for the next line and its way back.",
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
            return f"move site {step.site} from {step.from_host} to {step.to_host} for a time"
        case "site_release":
            return f"upgrade site {step.site} to release {step.release}"
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
    ("site_release", "release change"),
)
_AT_HOSTS: tuple[tuple[StepKind, str], ...] = (
    ("host_install", "installed"),
    ("host_release", "upgraded"),
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


def headline(rollout: Rollout) -> str:
    """Return the rollout in words: its waves and what they leave out, what they do, and whether fewer would do."""
    parts = len(rollout.conflicts)
    if not rollout.waves:
        return (
            "Nothing can be changed yet: see what is left out."
            if parts
            else "Nothing changes: everything is already as planned."
        )
    first, last = rollout.waves[0].starts.date(), rollout.waves[-1].ends.date()
    open_ends = f"; {counted(parts, 'part')} of the plan cannot be rolled out yet" if parts else ""
    least = counted(rollout.lower_bound_waves, "wave")
    sure = "Fewer waves are not possible (proven)."
    if rollout.gap > 0:
        sure = f"Not proven: any schedule of these steps has at least {least}."
    waves = counted(len(rollout.waves), "wave")
    return f"{waves} from {first} to {last}{open_ends}. They do {steps_in_words(rollout)}. {sure}"


def listed(parts: Sequence[str]) -> str:
    """Return parts as a list in words.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(part for part in (", ".join(parts[:-1]), *parts[-1:]) if part)
