"use strict";
// The record, the words, and the filters. Whoever shows assignments registers with onShown and gets their positions.

const record = JSON.parse(document.getElementById("record").textContent);
const { rows, hosts, hubs, texts } = record;
const total = rows.site.length;
const whole = new Intl.NumberFormat(texts.lang);
const tenths = new Intl.NumberFormat(texts.lang, { minimumFractionDigits: 1, maximumFractionDigits: 1 });
const percent = new Intl.NumberFormat(texts.lang, { style: "percent" });

const $ = (id) => document.getElementById(id);
const say = (key, values = {}) => texts[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
const hostName = (row) => hosts[rows.host[row]].host;
const hubName = (row) => hubs[rows.hub[row]].hub;
const standbyName = (row) => (rows.standby[row] < 0 ? "" : hosts[rows.standby[row]].host);

const haystack = rows.site.map((site, row) =>
  [site, rows.name[row], rows.region[row], hostName(row), hubName(row)].join("\n").toLowerCase());

const listeners = [];
const onShown = (listener) => listeners.push(listener);
let hit = null; // rows that the drill hits, while only they are to be shown

function shownRows() {
  const words = $("search").value.toLowerCase().split(/\s+/).filter(Boolean);
  const hub = $("by-hub").value, host = $("by-host").value;
  const region = $("by-region").value, evidence = $("by-evidence").value;
  const margin = $("by-margin").valueAsNumber;
  const shown = [];
  for (let row = 0; row < total; row++) {
    if (hit && !hit.has(row)) continue;
    if (hub !== "" && rows.hub[row] !== +hub) continue;
    if (host !== "" && rows.host[row] !== +host) continue;
    if (region !== "" && rows.region[row] !== region) continue;
    if (evidence !== "" && rows.evidence[row] !== evidence) continue;
    if (!Number.isNaN(margin) && !(rows.margin[row] <= margin)) continue;
    if (words.every((word) => haystack[row].includes(word))) shown.push(row);
  }
  return shown;
}

function applyFilters() {
  const shown = shownRows();
  $("count").textContent = say("count_shown", { n: whole.format(shown.length), all: whole.format(total) });
  for (const listener of listeners) listener(shown);
}

const filterForm = $("search").form;
filterForm.addEventListener("input", applyFilters);
filterForm.addEventListener("reset", () => setTimeout(applyFilters)); // the fields are blank only afterwards
filterForm.addEventListener("submit", (event) => event.preventDefault());
