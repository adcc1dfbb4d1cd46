// Kept answers side by side, and what differs between two of them.

import { $, counted, data, el, post, whole } from "./talk.js";
import { change, here, on, state, tell } from "./state.js";
import { showDifference } from "./map.js";

const yes = (value) => (value ? "proven" : "not proven");
const figure = (value, unit = "") => (value === null || value === undefined ? "not known" : `${whole.format(value)}${unit}`);
const ROWS = [
  ["Asked", (one) => one.changes.join("; ") || "the fleet as it was read"], ["Hosts", (one) => figure(one.figures.hosts)],
  ["New hosts", (one) => figure(one.figures.new)], ["Bound", (one) => `${one.figures.bound}, ${yes(one.figures.proven)}`],
  ["Cost of hosts a year", (one) => figure(one.figures.cost)], ["Unserved sites", (one) => figure(one.figures.unserved)],
  ["Without standby", (one) => figure(one.figures.uncovered)], ["Moves", (one) => figure(one.figures.moves)],
  ["Smallest latency margin", (one) => figure(one.figures.least_margin_ms, " ms")], ["Mean round-trip time", (one) => figure(one.figures.mean_rtt_ms, " ms")],
  ["Survives", (one) => one.figures.survives],
];

function show() {
  const { kept } = state;
  $("compare-said").textContent = kept.length ? "" : "No answer is kept yet. Under Ask, keep one under a name.";
  if (!kept.length) return $("side").replaceChildren();
  const head = el("tr", {}, el("th", { scope: "col" }, "Answer"), ...kept.map((one) => el("th", { scope: "col" }, one.name)));
  const rows = ROWS.map(([words, of]) => el("tr", {}, el("th", { scope: "row" }, words), ...kept.map((one) => el("td", {}, of(one)))));
  const acts = el("tr", { class: "acts" }, el("th", { scope: "row" }, "Do"), ...kept.map((one) => el("td", {}, el("div", { class: "row" },
    el("button", { type: "button", class: "quiet", onclick: () => again(one), "aria-label": `Ask ${one.name} again` }, "Ask again"),
    el("button", { type: "button", class: "quiet", onclick: () => forget(one), "aria-label": `Remove ${one.name}` }, "Remove")))));
  $("side").replaceChildren(el("thead", {}, head), el("tbody", {}, ...rows, acts));
  return chooser(kept);
}

function again(one) {
  change("question", (question) => {
    for (const key of Object.keys(question)) delete question[key];
    Object.assign(question, structuredClone(one.question));
  });
  location.hash = "ask";
}

async function forget(one) {
  state.kept = (await post(`${here}/forget`, { kept: one.id })).kept;
  tell("kept");
}

function chooser(kept) {
  if (kept.length < 2) return $("difference").replaceChildren(el("p", { class: "small" }, "Keep a second answer to see what differs."));
  const pick = (id, at) => el("select", { id }, ...kept.map((one, k) => el("option", { value: one.id, selected: k === at }, one.name)));
  const said = el("div", { id: "differs", role: "status" });
  const form = el("form", { class: "row" }, el("label", { for: "first" }, "From"), pick("first", 0), el("label", { for: "second" }, "to"),
    pick("second", kept.length - 1), el("button", { type: "submit" }, "Show what differs"));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    said.textContent = "Comparing …";
    try {
      const pair = [$("first"), $("second")], names = pair.map((one) => one.selectedOptions[0].text);
      differences(data(await post(`${here}/compare`, { pair: pair.map((one) => one.value) })), said, names);
    } catch (error) {
      said.textContent = error.message;
    }
  });
  return $("difference").replaceChildren(el("h2", {}, "What differs"), form, said);
}

function table(caption, heads, rows) {
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption },
    el("table", {}, el("caption", {}, caption),
      el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))),
      el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell) => el("td", {}, String(cell ?? ""))))))));
}

function differences(found, said, names) {
  const hubs = found.hubs.filter((hub) => hub.first !== hub.second);
  const folded = (summary, ...parts) => el("details", {}, el("summary", {}, summary), ...parts);
  const heads = ["", "what", "from old value to new", "cause"];
  said.replaceChildren(el("p", { class: "lead" }, found.headline), ...found.words.map((words) => el("p", {}, words)),
    table("Figures", ["", ...names], found.figures.map((one) => [one.name, one.first || "not known", one.second || "not known"])),
    hubs.length ? table("Hosts at hubs that differ", ["hub", ...names], hubs.map((hub) => [hub.hub, hub.first, hub.second])) : el("p", {}, "Each hub has the same number of hosts in both answers."),
    found.hosts.length ? folded("Hosts that differ", table("Hosts that differ", heads, found.hosts)) : "",
    found.sites.length ? folded(`${counted(found.sites_number, "difference")} in sites`, table("Differences in sites", heads, found.sites)) : "",
    ...found.notes.map((note) => el("p", { class: "small" }, note)),
    el("button", { type: "button", class: "quiet", onclick: () => { location.hash = "ask"; setTimeout(() => showDifference(found.map), 50); } }, "Show it on the map"));
}

export function startComparing() {
  on("kept", show);
  show();
}
