// The controls: sliders, switches and hubs; each says what is asked when it differs from the fleet as it was read.

import { $, el } from "./talk.js";
import { change, endMerge, state } from "./state.js";
import { fleet } from "./fleet.js";

let made = null; // the fleet that the controls were made for
const shown = []; // how each control takes over the question again, as after undo

const MAIN = {
  cluster_cap: ["Cluster cap of a host", 4, 256, 1],
  reserve_percent: ["Reserve kept free (%)", 0, 60, 1],
  latency_budget_ms: ["Budget (ms) of sites that have no budget of their own", 1, 200, 1],
};
const LABELS = {
  release_floor: "Release floor", cover: "Cover", objective: "Objective", max_hosts_per_hub: "Most hosts at a hub",
  max_blast_radius: "Most clusters on one host", third_location_km: "Least distance of the third location (km)",
  unknown_latency: "Unmeasured pairs", keep_served: "Sites served today come first", host_release_rule: "Release of hosts",
};

function setting(name, value) {
  const before = fleet.controls.settings.find((one) => one.name === name).value;
  change("question", (question) => {
    question.settings ||= {};
    if (value === before) delete question.settings[name];
    else question.settings[name] = value;
    if (!Object.keys(question.settings).length) delete question.settings;
    if (name === "cluster_cap" && fleet.controls.own_caps) ownCaps(question, value, before);
  }, name);
}

// Hosts that state a cap of their own follow the slider too.
function ownCaps(question, value, before) {
  question.edits = (question.edits || []).filter((edit) => !(edit.sheet === "Hubs" && edit.column === "cluster_cap" && edit.rows === "*"));
  if (value !== before) question.edits.push({ sheet: "Hubs", column: "cluster_cap", value, rows: "*" });
  if (!question.edits.length) delete question.edits;
}

// A slider with a field beside it: both say the same.
function slider(label, least, most, step, now, take, hint = "") {
  const id = `k-${label}`.replace(/\W+/g, "-");
  const range = el("input", { type: "range", id, min: least, max: most, step });
  const field = el("input", { type: "number", min: 0, step: "any", "aria-label": `${label}, as a number` });
  range.addEventListener("input", () => { field.value = range.value; take(range.value); });
  range.addEventListener("change", endMerge);
  field.addEventListener("change", () => { range.value = field.value; take(field.value); endMerge(); });
  const box = el("div", { class: "knob" }, el("label", { for: id }, el("span", {}, label), field), range,
    hint ? el("span", { class: "small" }, hint) : null);
  shown.push(() => {
    const [value, differs] = now();
    box.classList.toggle("changed", differs);
    if (document.activeElement !== field) field.value = value;
    if (range.value !== String(value)) range.value = value;
  });
  return box;
}

const valueOf = (one) => [state.question.settings?.[one.name] ?? one.value, one.name in (state.question.settings || {})];

function settingSlider(one) {
  const [label, least, most, step] = MAIN[one.name];
  const { own_caps: caps, own_budgets: budgets } = fleet.controls;
  const hint = one.name === "latency_budget_ms" && budgets ? `${budgets} sites state their own; the slider below moves all.`
    : one.name === "cluster_cap" && caps ? "It also replaces the caps that the sheet Hubs gives." : "";
  return slider(label, least, Math.max(most, 2 * Number(one.value || 0)), step, () => valueOf(one), (value) => setting(one.name, value), hint);
}

function settingField(one) {
  const id = `k-${one.name}`;
  const choices = one.choices.length ? one.choices : one.kind === "choice" ? ["yes", "no"] : [];
  const take = (event) => { setting(one.name, event.target.value); endMerge(); };
  const field = choices.length
    ? el("select", { id, onchange: take }, ...choices.map((value) => el("option", { value }, value)))
    : el("input", { id, onchange: take, inputmode: one.kind === "release" ? "text" : "decimal", size: "8" });
  const box = el("div", { class: "knob" }, el("label", { for: id, title: one.meaning }, LABELS[one.name], field));
  shown.push(() => {
    const [value, differs] = valueOf(one);
    box.classList.toggle("changed", differs);
    if (document.activeElement !== field) field.value = value;
  });
  return box;
}

function budgets(region, percent) {
  change("question", (question) => {
    question.budgets ||= {};
    if (Number(percent) === 100) delete question.budgets[region];
    else question.budgets[region] = Number(percent);
    if (!Object.keys(question.budgets).length) delete question.budgets;
  }, `budgets ${region}`);
}

function budgetSliders() {
  const now = (region) => [state.question.budgets?.[region] ?? 100, region in (state.question.budgets || {})];
  const all = slider("Budgets of all sites (%)", 30, 200, 5, () => now("*"), (value) => budgets("*", value));
  if (!fleet.controls.regions.length) return [all];
  const pick = el("select", { id: "region", onchange: () => showControls() }, ...fleet.controls.regions.map((name) => el("option", { value: name }, name)));
  const one = slider("Budgets of that region (%)", 30, 200, 5, () => now(pick.value), (value) => budgets(pick.value, value));
  return [all, el("div", { class: "knob" }, el("label", { for: "region" }, "Region", pick)), one];
}

function grow(what, value) {
  change("question", (question) => {
    question.grow ||= {};
    if (Number(value)) question.grow[what] = Math.round(Number(value));
    else delete question.grow[what];
    if (!question.grow.sites && !question.grow.clusters) delete question.grow;
  }, `grow ${what}`);
}

function growthSliders() {
  const most = Math.max(20, Math.round(fleet.controls.sites / 4));
  return ["sites", "clusters"].map((what) => slider(`${what === "sites" ? "Sites" : "Clusters"} more`, 0, most, 1,
    () => [state.question.grow?.[what] ?? 0, Boolean(state.question.grow?.[what])], (value) => grow(what, value)));
}

function toggle(list, hub) {
  change("question", (question) => {
    for (const name of ["shut", "drained"]) {
      const now = new Set(question[name] || []);
      if (name !== list || !now.delete(hub)) { if (name === list) now.add(hub); else now.delete(hub); }
      question[name] = [...now];
      if (!question[name].length) delete question[name];
    }
  });
}

function hubRow(hub) {
  const button = (list, words) => {
    const made = el("button", { type: "button", class: "quiet", "aria-label": `${words} hub ${hub.hub}`, onclick: () => toggle(list, hub.hub) }, words);
    shown.push(() => made.setAttribute("aria-pressed", String((state.question[list] || []).includes(hub.hub))));
    return made;
  };
  return el("tr", {}, el("th", { scope: "row", title: hub.name }, hub.hub), el("td", {}, button("shut", "Shut")), el("td", {}, button("drained", "Drain")));
}

const group = (legend, ...children) => el("fieldset", {}, el("legend", {}, legend), ...children);

function make() {
  const { settings, hubs } = fleet.controls;
  shown.length = 0;
  const main = settings.filter((one) => one.name in MAIN).map(settingSlider);
  const first = settings.filter((one) => ["cover", "objective", "release_floor"].includes(one.name)).map(settingField);
  const rest = settings.filter((one) => !(one.name in MAIN) && !["cover", "objective", "release_floor"].includes(one.name)).map(settingField);
  $("controls").replaceChildren(
    el("button", { type: "button", class: "quiet", id: "as-read", onclick: () => change("question", (question) => {
      for (const key of Object.keys(question)) delete question[key];
    }) }, "Back to the fleet as it was read"),
    group("Hosts", ...main.slice(0, 2), ...first.slice(0)), group("Latency budgets", ...main.slice(2), ...budgetSliders()),
    group("Growth", ...growthSliders()),
    group("Hubs", el("p", { class: "small" }, "A shut hub gets no host. A drained hub is emptied: its hosts serve no site in the plan."),
      el("table", {}, el("tbody", {}, ...hubs.map(hubRow)))),
    el("details", {}, el("summary", {}, "More limits"), ...rest));
}

export function showControls() {
  if (!fleet?.controls) return;
  if (made !== fleet) { make(); made = fleet; }
  for (const show of shown) show();
}
