"""Adopt a book as a program does, and hold what was read against what is true."""

import json

from planner.cli import cli
from planner.intake import adopt, inspect_fleet


def accepted(path, folder, answers=()):
    """Return the inspection of a file that was adopted with every best guess, through the command."""
    from click.testing import CliRunner

    mapping = folder / "fleet.toml"
    result = CliRunner().invoke(
        cli, ["adopt", str(path), "-o", str(mapping), "--accept", "--force", *answers], catch_exceptions=False
    )
    assert mapping.exists(), result.output
    return inspect_fleet(path, mapping), result


def differences(fleet, world, rng, pairs=50):
    """Return what of a fleet is not as in ``world``: sites, clusters, hubs, who serves whom, and some RTTs."""
    wrong = []
    truth = {site.id: site for site in world.planned}
    if set(fleet.site_ids) != set(truth):
        wrong.append(("sites", sorted(set(fleet.site_ids) ^ set(truth))[:10]))
    clusters = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    wrong += [("clusters", i, clusters[i], s.clusters) for i, s in truth.items() if clusters.get(i) != s.clusters]
    if set(fleet.hub_ids) != set(world.hubs):
        wrong.append(("hubs", fleet.hub_ids, world.hubs))
    today = dict(zip(fleet.current["site"], fleet.current["hub"], strict=True))
    wrong += [("today", i, today.get(i, ""), s.today) for i, s in truth.items() if today.get(i, "") != s.today]
    known = zip(fleet.latency["site"], fleet.latency["hub"], fleet.latency["rtt_ms"], strict=True)
    rtt = {(site, hub): value for site, hub, value in known}
    wanted = [(site, hub, s.rtt[hub]) for site, s in truth.items() for hub in s.rtt]
    for site, hub, value in rng.sample(wanted, min(pairs, len(wanted))):
        if abs(rtt.get((site, hub), -1) - value) > 0.002:
            wrong.append(("rtt", site, hub, rtt.get((site, hub)), value))
    if len(rtt) > len(wanted):
        wrong.append(("pairs", len(rtt), len(wanted)))
    return wrong


def questions(path):
    """Return the questions that a file leaves open."""
    return adopt(path).adoption({}).open


def as_json(path):
    """Return what the command prints for programs."""
    from click.testing import CliRunner

    return json.loads(CliRunner().invoke(cli, ["adopt", str(path), "--json", "-"], catch_exceptions=False).stdout)
