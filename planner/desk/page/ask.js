// Asking: a change of the question is counted at once, then planned in the background; a newer one stops the older.

import { $, counted, data, el, post, stream, trouble, whole } from "./talk.js";
import { asked as asking, change, here, on, state, tab, tell } from "./state.js";
import { fleet } from "./fleet.js";
import { drawMap, showPlanOnMap } from "./map.js";
import { showControls } from "./controls.js";

export let plan = null; // the last whole plan, and whether it is of the question as it stands
let number = 0, turn = 0, flying = 0, answered = "", base = null, planning = null, waiting = 0, overtaking = 0;
const PAUSE_MS = 350; // without a newer question the whole plan begins
const PATIENCE_MS = 600;

const asked = () => JSON.stringify(state.question);
export const isSettled = () => plan !== null && plan.of === asked();

// One count is under way at a time, and its answer leads to the newest question; one that takes longer than
// PATIENCE_MS is overtaken, so that the number follows the hand and no old question is waited for.
export function ask() {
  if (!fleet || !fleet.controls) return;
  number += 1;
  document.body.dataset.asked = asked(); // for tests
  if (!isSettled()) delete document.body.dataset.planned;
  showControls();
  if (asked() !== answered) stopPlanning();
  $("count").classList.add("stale");
  if (!flying) send();
}

async function send() {
  const mine = number, question = asked(), began = performance.now();
  let again = false;
  flying = mine;
  clearTimeout(overtaking);
  overtaking = setTimeout(() => { if (flying === mine && number !== mine) send(); }, PATIENCE_MS);
  try {
    const answer = await post(`${here}/count`, { ...asking(), turn: mine });
    again = answer.event === "stopped";
    if (!again) showCount(data(answer), question, performance.now() - began);
  } catch (error) {
    if (mine === number) noCount(error);
  }
  if (flying !== mine) return; // overtaken
  flying = 0;
  if (number !== mine || again) { send(); return; }
  clearTimeout(waiting);
  if (answered !== asked()) return;
  if (isSettled()) showPlan(plan, answered); // it was hidden by another question in between
  else waiting = setTimeout(() => makePlan(answered, {}), PAUSE_MS);
}

function noCount(error) {
  answered = "";
  trouble(error.message);
  $("count").textContent = "–";
  settle([["Host count", "open", "no answer"]]);
}

function showCount(found, question, ms) {
  trouble("");
  answered = question;
  $("count").classList.toggle("stale", question !== asked());
  if (question === "{}" || base === null) base = { of: question, hosts: found.hosts, unserved: found.unserved };
  $("count").textContent = (found.at_least ? "≥ " : "") + whole.format(found.hosts);
  $("count-unit").textContent = found.hosts === 1 ? "host" : "hosts";
  const more = found.hosts - base.hosts;
  $("count-change").textContent = question !== base.of && more ? `${more > 0 ? "+" : "−"}${Math.abs(more)} compared with the fleet as it was read` : "";
  $("count-words").textContent = found.words;
  $("asked-words").textContent = found.changes.length ? `With these changes: ${found.changes.join("; ")}.` : "Nothing is changed: this is the fleet as it was read.";
  document.body.dataset.counted = `${question} ${found.hosts}`; // for tests
  document.body.dataset.ms = ms.toFixed(1);
  if (plan?.of !== question) {
    settle([["Host count", found.proven && !found.at_least ? "yes" : "open", found.at_least ? "a lower bound" : found.proven ? "final, proven" : "not proven yet"],
      ["Who goes where", "busy", "not searched yet"]]);
  }
}

function settle(steps) {
  $("settled").replaceChildren(...steps.map(([what, how, words]) => el("li", { class: how }, el("strong", {}, what), words)));
}

export function stopPlanning() {
  clearTimeout(waiting);
  if (planning) planning.abort();
  planning = null;
  $("stop").disabled = $("longer").disabled = $("keep").elements[1].disabled = true;
}

async function makePlan(question, more) {
  stopPlanning();
  const mine = planning = new AbortController();
  $("stop").disabled = false;
  $("plan-said").textContent = "Planning who goes where …";
  try {
    await stream(`${here}/plan`, { ...asking(), turn: ++turn, ...more }, (line) => {
      if (mine !== planning) return;
      if (line.event === "news") showNews(line.data);
      else showPlan(data(line), question);
    }, mine.signal);
  } catch (error) {
    if (mine !== planning || mine.signal.aborted) return;
    $("plan-said").textContent = "";
    trouble(error.message);
  }
  if (mine === planning) $("stop").disabled = true;
}

function showNews(news) {
  const figures = news.best === null || news.best === undefined ? "" : `: found ${short(news.best)}, at least ${short(news.bound)} needed`;
  $("plan-said").textContent = `Searching ${news.stage}${figures} (${Math.round(news.seconds)} s)`;
}

const short = (value) => (value === null || value === undefined ? "–" : Number(value.toPrecision(6)).toLocaleString("en"));

function showPlan(found, question) {
  plan = { ...found, of: question };
  if (question !== asked()) return;
  $("plan-said").textContent = found.stopped ? "Stopped: this is the best so far." : "Done.";
  $("count").textContent = whole.format(found.hosts);
  $("longer").disabled = found.settled;
  $("keep").elements[1].disabled = false;
  $("count-words").textContent = found.headline;
  settle(found.aims.map((aim) => [words(aim.words), aim.proven ? "yes" : "open",
    aim.proven ? `${short(aim.value)}, proven` : `${short(aim.value)}, proven lower bound ${short(aim.bound)}`]));
  showHubs(found);
  showCauses(found);
  showMoves(found);
  showPlanOnMap(found);
  document.body.dataset.planned = question; // for tests
  tell("kept");
}

const words = (text) => text[0].toUpperCase() + text.slice(1);

function showHubs(found) {
  const head = el("tr", {}, ...["hub", "hosts", "new", "clusters", "room"].map((name, at) => el("th", { scope: "col", class: at ? "n" : "" }, name)));
  const rows = found.hubs.map((hub) => el("tr", {}, el("th", { scope: "row" }, hub.hub),
    ...[hub.hosts, hub.new, hub.clusters, hub.room].map((value) => el("td", { class: "n" }, whole.format(value)))));
  $("hubs").replaceChildren(el("thead", {}, head), el("tbody", {}, ...rows));
}

function showCauses(found) {
  $("causes").replaceChildren(...(found.causes.length ? found.causes.map((cause) => el("details", {},
    el("summary", {}, cause.words), el("p", { class: "small" }, cause.sites.join(", ")))) : [el("p", { class: "good" }, "Every site is served.")]));
}

function showMoves(found) {
  if (!fleet.controls.today) return $("moves").replaceChildren(el("p", {}, "The fleet does not say which host a site uses today (sheet Current)."));
  const rows = found.moved.slice(0, 50).map((move) => el("tr", {}, ...[move.site, move.before, move.after].map((text) => el("td", {}, text))));
  const head = el("tr", {}, ...["site", "today", "in the plan"].map((name) => el("th", { scope: "col" }, name)));
  return $("moves").replaceChildren(el("p", {}, `${counted(found.moves, "site")} of ${whole.format(fleet.controls.today)} change host.`),
    rows.length ? el("details", {}, el("summary", {}, found.moves > 50 ? "The first 50" : "Which"),
      el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows))) : "");
}

async function keep(event) {
  event.preventDefault();
  if (!isSettled()) return;
  $("kept-said").textContent = "Keeping it …";
  try {
    state.kept = data(await post(`${here}/keep`, { ...asking(), name: $("keep-name").value, changes: plan.changes }));
    $("kept-said").textContent = `Kept as ${state.kept.at(-1).name}.`;
    $("keep-name").value = "";
    tell("kept");
  } catch (error) {
    $("kept-said").textContent = error.message;
  }
}

export function startAsking() {
  on("question", () => { drawMap(); ask(); });
  on("choices", () => { base = plan = null; stopPlanning(); });
  $("stop").addEventListener("click", () => post(`${here}/stop`, { tab }));
  $("longer").addEventListener("click", () => makePlan(asked(), { seconds: 600, thorough: true }));
  $("keep").addEventListener("submit", keep);
  $("controls").addEventListener("submit", (event) => event.preventDefault());
}

export const shut = (hub) => change("question", (question) => {
  const now = new Set(question.shut || []);
  if (!now.delete(hub)) now.add(hub);
  question.shut = [...now];
  if (!question.shut.length) delete question.shut;
});
