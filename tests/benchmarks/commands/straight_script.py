"""What a planner writes on one page with pandas, PuLP and HiGHS: `straight_script.py FLEET.xlsx OUT.xlsx SECONDS`."""

import json
import sys

import pandas as pd
import pulp

as_text = {"site": str, "release": str, "host_release": str}
sheets = pd.read_excel(sys.argv[1], sheet_name=None, dtype=as_text, engine="openpyxl")
sites, hubs, latency = sheets["Sites"], sheets["Hubs"], sheets["Latency"]
rtt = latency.melt("site", var_name="hub", value_name="rtt_ms").dropna()
pairs = rtt.merge(sites, on="site").merge(hubs, on="hub", suffixes=("", "_of_hub"))
pairs = pairs[pairs["rtt_ms"] <= pairs["latency_budget_ms"]]
if "own_tie_breaker" in pairs:
    steps = ["7.8", "8.0", "8.2", "8.4", "8.6", "8.10"]
    release, host_release = pairs["release"].map(steps.index), pairs["host_release"].map(steps.index)
    pairs = pairs[(release >= steps.index("8.0")) & (release <= host_release) & (pairs["own_tie_breaker"] != "yes")]
    pairs = pairs[pairs["zone"] != pairs["zone_of_hub"]]
    pairs = pairs[pairs["pinned_hub"].isna() | (pairs["pinned_hub"] == pairs["hub"])]
    pairs = pairs[pairs["barred_hubs"] != pairs["hub"]]
    regions = zip(pairs["region"], pairs["serves_regions"], strict=True)
    pairs = pairs[[not isinstance(served, str) or own in served.split(";") for own, served in regions]]
pairs = pairs.assign(clusters=pairs.get("clusters", 1))
model = pulp.LpProblem("hosts", pulp.LpMinimize)
n = {row.hub: model.add_variable(f"n{row.Index}", 0, row.max_hosts, "Integer") for row in hubs.itertuples()}
cap = dict(zip(hubs["hub"], hubs["cluster_cap"], strict=True))
pairs["x"] = [model.add_variable(f"x{i}", 0, 1, "Integer") for i in range(len(pairs))]
model.setObjective(pulp.lpSum(n.values()))
for _, of_site in pairs.groupby("site"):
    model.addConstraint(pulp.lpSum(of_site["x"]) == 1)
for hub, of_hub in pairs.groupby("hub"):
    load = pulp.lpSum(c * x for c, x in zip(of_hub["clusters"], of_hub["x"], strict=True))
    model.addConstraint(load <= cap[hub] * n[hub])
model.solve(pulp.HiGHS(msg=False, timeLimit=float(sys.argv[3]), threads=1))
used = pairs[[(x.value() or 0) > 0.5 for x in pairs["x"]]]
hosts = hubs.assign(hosts=[round(one.value() or 0) for one in n.values()])
with pd.ExcelWriter(sys.argv[2]) as book:
    hosts[["hub", "cluster_cap", "hosts"]].to_excel(book, sheet_name="Hosts", index=False)
    used[["site", "hub", "rtt_ms", "latency_budget_ms"]].to_excel(book, sheet_name="Assignments", index=False)
print(json.dumps({"hosts": int(hosts["hosts"].sum()), "sites": len(used)}))
