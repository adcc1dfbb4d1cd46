// The drill: what fails, who goes to which standby, and who is left without a third vote.

function lostHosts(choice) {
  const [kind, number] = choice.split(" ");
  const lost = new Set();
  hosts.forEach((host, index) => { if (kind === "host" ? index === +number : host.hub === +number) lost.add(index); });
  return lost;
}

function lostWords(choice) {
  const [kind, number] = choice.split(" ");
  return kind === "hub" ? say("drill_hub", { name: hubs[number].hub }) : say("drill_host", { name: hosts[number].host });
}

// What the loss does: rows hit, rows left bare, and clusters taken over by each standby host.
function consequences(lost) {
  const struck = [], bare = [], taken = new Map();
  rows.host.forEach((host, row) => {
    if (!lost.has(host)) return;
    struck.push(row);
    const standby = rows.standby[row];
    if (standby < 0 || lost.has(standby)) bare.push(row);
    else taken.set(standby, (taken.get(standby) || 0) + rows.clusters[row]);
  });
  return { struck, bare, taken };
}

const clustersOf = (some) => some.reduce((sum, row) => sum + rows.clusters[row], 0);

function takeoverRow([standby, clusters]) {
  const host = hosts[standby], then = host.clusters + clusters;
  const line = document.createElement("tr");
  const free = host.room - then;
  let state = say("drill_unknown");
  if (host.room !== null) {
    state = free < 0 ? say("drill_over", { n: -free }) : `${say("drill_ok")}, ${say("drill_free", { n: free })}`;
  }
  const name = document.createElement("th");
  name.scope = "row";
  name.dir = "auto";
  name.textContent = host.host;
  line.append(name);
  for (const [words, look] of [[whole.format(clusters), "n"], [whole.format(then), "n"], [state, free < 0 ? "over" : ""]]) {
    const part = document.createElement("td");
    part.className = look;
    part.textContent = words;
    line.append(part);
  }
  return line;
}

function showLoss() {
  const choice = $("lost").value;
  const { struck, bare, taken } = choice ? consequences(lostHosts(choice)) : { struck: [], bare: [], taken: new Map() };
  const covered = struck.filter((row) => !bare.includes(row));
  const standby = (row) => hubs[hosts[rows.standby[row]].hub] || { x: null, y: null };
  sourceOf("moving").data = {
    x: covered.map((row) => rows.x[row]), y: covered.map((row) => rows.y[row]),
    to_x: covered.map((row) => standby(row).x), to_y: covered.map((row) => standby(row).y),
  };
  sourceOf("rings").data = { x: bare.map((row) => rows.x[row]), y: bare.map((row) => rows.y[row]) };
  $("drill-result").hidden = !choice;
  $("drill-rows").replaceChildren(...[...taken].sort((a, b) => b[1] - a[1]).map(takeoverRow));
  const sites = (some) => [...new Set(some.map((row) => rows.site[row]))];
  $("drill-bare").textContent = say("drill_bare", { n: whole.format(sites(bare).length) });
  $("drill-sites").textContent = sites(bare).join(", ");
  const said = choice ? say("drill_said", {
    lost: lostWords(choice), sites: whole.format(sites(struck).length), clusters: whole.format(clustersOf(struck)),
    covered: whole.format(clustersOf(covered)), bare: whole.format(clustersOf(bare)),
  }) : say("drill_nothing");
  const uncovered = choice && rows.standby.every((host) => host < 0) ? ` ${say("drill_no_cover")}` : "";
  $("drill-said").textContent = said + uncovered;
  hit = choice && $("only-hit").checked ? new Set(struck) : null;
  applyFilters();
}

function choose(choice) {
  $("lost").value = choice;
  showLoss();
}

for (const button of document.querySelectorAll("[data-lose]")) {
  button.addEventListener("click", () => { choose(button.dataset.lose); $("drill").focus(); });
}
$("drill-form").addEventListener("input", showLoss);
$("drill-form").addEventListener("reset", () => setTimeout(showLoss));
$("drill-form").addEventListener("submit", (event) => event.preventDefault());
addEventListener("beforeprint", () => { for (const part of document.querySelectorAll("details")) part.open = true; });
startCharts();
