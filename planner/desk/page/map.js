// The map: sites as dots on a canvas, hubs as buttons above it; pressing a hub shuts or opens it.

import { $, el, whole } from "./talk.js";
import { state } from "./state.js";
import { fleet } from "./fleet.js";
import { shut } from "./ask.js";

const COLOURS = ["#0072b2", "#e69f00", "#009e73", "#d55e00", "#56b4e9", "#cc79a7", "#b8a800"];
const MOST_BUTTONS = 300;
let hubOf = null, marked = null, view = null, drawn = null, buttons = [];

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const finite = (values) => values.filter((value) => value !== null);

function ends(values) {
  return finite(values).reduce(([low, high], v) => [Math.min(low, v), Math.max(high, v)], [Infinity, -Infinity]);
}

function fit() {
  const { sites, hubs } = fleet.controls.map;
  const [left, right] = ends([...sites.x, ...hubs.x]), [bottom, top] = ends([...sites.y, ...hubs.y]);
  view = Number.isFinite(left) ? { x: (left + right) / 2, y: (bottom + top) / 2, width: 1.1 * Math.max(right - left, 1), height: 1.15 * Math.max(top - bottom, 1), zoom: 1 }
    : { x: 0, y: 0, width: 1, height: 1, zoom: 1 };
}

function scale(box) { return view.zoom * Math.min(box.width / view.width, box.height / view.height); }

function make() {
  const pane = $("map");
  const zooms = [["+", "Nearer", 1.5], ["−", "Farther", 1 / 1.5], ["⤢", "All", 0]].map(([sign, words, by]) => el("button",
    { type: "button", "aria-label": words, title: words, onclick: () => { if (by) view.zoom *= by; else fit(); paint(); } }, sign));
  buttons = fleet.controls.hubs.slice(0, MOST_BUTTONS).map((hub) => el("button",
    { type: "button", class: "hub", title: hub.name, "aria-label": `Shut hub ${hub.hub} on the map`, onclick: () => shut(hub.hub) }, hub.hub));
  pane.replaceChildren(el("canvas", { "aria-hidden": "true" }), ...buttons);
  $("zoom").replaceChildren(...zooms);
  let from = null;
  pane.onpointerdown = (event) => { if (event.target.tagName === "CANVAS") from = [event.clientX, event.clientY]; };
  pane.onpointermove = (event) => {
    if (!from || !event.buttons) return;
    const by = scale(pane.getBoundingClientRect());
    view.x -= (event.clientX - from[0]) / by;
    view.y += (event.clientY - from[1]) / by;
    from = [event.clientX, event.clientY];
    paint();
  };
  pane.onpointerup = () => { from = null; };
  pane.onkeydown = (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!way || event.target !== pane) return;
    const by = 60 / scale(pane.getBoundingClientRect());
    view.x += way[0] * by;
    view.y += way[1] * by;
    event.preventDefault();
    paint();
  };
  drawn = fleet;
  hubOf = marked = null;
  fit();
}

export function drawMap() {
  if (!fleet?.controls) return;
  if (drawn !== fleet) make();
  paint();
}

export function showPlanOnMap(found) {
  hubOf = found.sites;
  marked = null;
  paint();
}

export function showDifference(difference) {
  hubOf = difference.sites;
  marked = difference.changed;
  paint();
}

let waiting = 0;
function paint() {
  if (!waiting) waiting = requestAnimationFrame(() => { waiting = 0; paintNow(); });
}

function paintNow() {
  const pane = $("map"), canvas = pane.querySelector("canvas"), box = pane.getBoundingClientRect();
  if (!canvas || !box.width || !view) return;
  const ratio = window.devicePixelRatio || 1, by = scale(box);
  canvas.width = box.width * ratio;
  canvas.height = box.height * ratio;
  const pen = canvas.getContext("2d");
  pen.scale(ratio, ratio);
  const place = (x, y) => [box.width / 2 + (x - view.x) * by, box.height / 2 - (y - view.y) * by];
  const { sites, hubs } = fleet.controls.map, size = sites.x.length > 4000 ? 2 : 4;
  const grown = hubOf && hubOf.length !== sites.x.length; // more sites than the map has places for
  for (let at = 0; at < sites.x.length; at += 1) {
    if (sites.x[at] === null) continue;
    const [x, y] = place(sites.x[at], sites.y[at]), hub = hubOf ? hubOf[at] : -3;
    pen.fillStyle = hub >= 0 ? COLOURS[hub % COLOURS.length] : hub === -1 ? css("--warn") : css("--field");
    if (hub === -1) { pen.fillRect(x - size, y - 1, 2 * size, 2); pen.fillRect(x - 1, y - size, 2, 2 * size); }
    else pen.fillRect(x - size / 2, y - size / 2, size, size);
    if (marked?.[at]) { pen.strokeStyle = css("--ink"); pen.strokeRect(x - size, y - size, 2 * size, 2 * size); }
  }
  buttons.forEach((button, at) => {
    const known = hubs.x[at] !== null, [x, y] = known ? place(hubs.x[at], hubs.y[at]) : [0, 0];
    button.hidden = !known || x < 0 || y < 0 || x > box.width || y > box.height;
    button.style.left = `${(100 * x) / box.width}%`; // shares, so that they fit where printing stretches the picture
    button.style.top = `${(100 * y) / box.height}%`;
    button.setAttribute("aria-pressed", String((state.question.shut || []).includes(fleet.controls.hubs[at].hub)));
  });
  const unserved = hubOf ? hubOf.filter((hub) => hub === -1).length : 0;
  $("map-words").textContent = `Each dot is a site in the colour of its hub; a cross is unserved (${whole.format(unserved)}). Press a hub to shut it.`
    + (fleet.controls.map.schematic ? " Distances stand for round-trip times, since coordinates are missing." : "")
    + (grown ? " Sites that growth adds are not drawn." : "") + (marked ? " Sites in a frame use another hub." : "");
}

addEventListener("resize", () => drawMap());
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawMap());
