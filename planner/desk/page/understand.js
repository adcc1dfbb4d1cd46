// Understanding an answer: why not fewer, one site's story, a loss, the whole report.

import { $, data, el, post, stream, whole } from "./talk.js";
import { change, here, on, saveNow, state, tab } from "./state.js";
import { isSettled, plan } from "./ask.js";

const NOT_YET = "The plan is still being searched. Wait until it is done, or stop the search under Ask.";

async function explain() {
  if (!isSettled()) { $("explain-said").textContent = NOT_YET; return; }
  $("explain-said").textContent = "Looking …";
  try {
    await stream(`${here}/explain`, { tab, question: state.question }, (line) => {
      if (line.event === "news") { $("explain-said").textContent = `Trying ${line.data.stage} …`; return; }
      $("explain-said").textContent = "";
      showExplanation(data(line));
    });
  } catch (error) {
    $("explain-said").textContent = error.message;
  }
}

function showExplanation(found) {
  const list = (items) => el("ul", {}, ...items.map((words) => el("li", {}, words)));
  const helps = found.suggestions.map((one) => el("li", {}, el("span", {}, `${one.words} `),
    one.after ? el("span", { class: "small" }, `Then ${whole.format(one.after.hosts)} hosts, ${whole.format(one.after.unserved)} unserved. `) : null,
    el("button", { type: "button", class: "quiet", onclick: () => tryIt(one) }, "Try it")));
  $("explained").replaceChildren(el("h2", {}, "Why not fewer"), el("p", {}, found.proof || "No proof in words."), list(found.sets),
    el("h2", {}, "What would help"), helps.length ? el("ul", {}, ...helps) : el("p", {}, "No small change was found that helps."), list(found.notes));
}

function tryIt(one) {
  change("question", (question) => { question.edits = [...(question.edits || []), ...one.edits]; });
  location.hash = "ask";
}

async function tellSite(event) {
  event.preventDefault();
  if (!isSettled()) { $("site-said").textContent = NOT_YET; return; }
  $("site-said").textContent = "Looking …";
  try {
    await stream(`${here}/explain`, { tab, question: state.question, site: $("site").value }, (line) => {
      if (line.event !== "news") showSite(data(line).site);
    });
  } catch (error) {
    $("site-said").textContent = error.message;
  }
}

function showSite(site) {
  const rows = site.pools.map((pool) => el("tr", {}, el("th", { scope: "row" }, pool.pool), el("td", { class: "n" }, pool.rtt_ms === null ? "not known" : `${pool.rtt_ms.toFixed(1)} ms`),
    el("td", { class: pool.eligible ? "good" : "" }, pool.serves ? "serves it" : pool.eligible ? "could serve it" : pool.why)));
  const head = el("tr", {}, ...["pool", "round trip", "may it?"].map((words) => el("th", { scope: "col" }, words)));
  $("site-said").replaceChildren(el("p", {}, site.words), el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Pools of the site" },
    el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows))));
}

async function lose(lost) {
  if (!isSettled()) { $("lost-said").textContent = NOT_YET; return; }
  $("lost-said").textContent = "Looking …";
  try {
    const found = data(await post(`${here}/lose`, { question: state.question, lost }));
    $("lost-said").replaceChildren(...(found.singles ? allLosses(found) : oneLoss(found)));
  } catch (error) {
    $("lost-said").textContent = error.message;
  }
}

function table(heads, rows) {
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Losses" }, el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((words) => el("th", { scope: "col" }, words)))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell) => el("td", {}, String(cell))))))));
}

function oneLoss(found) {
  const after = found.stranded + found.over;
  return [el("p", { class: after ? "bad" : "good" }, `Without ${found.words}: ${whole.format(found.displaced)} clusters at ${whole.format(found.sites)} sites lose their third vote; `
    + (after ? `${whole.format(after)} of them find no other host.` : "all find another host.")),
  found.loads.length ? table(["host", "before", "arriving", "cap", "state"], found.loads.map((load) => [load.host, load.before, load.arriving, load.cap, load.over ? `over by ${load.over}` : "has room"])) : "",
  found.left_number ? el("details", {}, el("summary", {}, `${whole.format(found.left_number)} sites without a place to go`), el("p", { class: "small" }, found.left.join(", "))) : ""];
}

function allLosses(found) {
  const rows = found.singles.map((one) => [one.loss, one.displaced, one.stranded, one.over, one.survived ? "survived" : "not survived"]);
  return [el("p", {}, found.words), table(["loss", "clusters displaced", "without a place", "over the cap", "outcome"], rows)];
}

function fillLosses() {
  const before = $("lost").value;
  const hubs = (plan?.hubs || []).map((hub) => el("option", { value: `hub:${hub.hub}` }, `hub ${hub.hub}`));
  const hosts = (plan?.host_list || []).map((host) => el("option", { value: `host:${host.host}` }, `host ${host.host}`));
  $("lost").replaceChildren(...hubs, ...hosts);
  if (before) $("lost").value = before;
}

async function report() {
  if (!isSettled()) { $("report").textContent = NOT_YET; return; }
  await saveNow();
  $("report").replaceChildren(el("iframe", { src: `${here}/report`, title: "Report of this answer" }));
}

export function startUnderstanding() {
  $("explain").addEventListener("click", explain);
  $("site-form").addEventListener("submit", tellSite);
  $("lose-form").addEventListener("submit", (event) => { event.preventDefault(); lose([$("lost").value]); });
  $("lose-all").addEventListener("click", () => lose([]));
  $("show-report").addEventListener("click", report);
  on("kept", fillLosses);
  on("question", () => { $("explained").replaceChildren(); $("lost-said").replaceChildren(); $("site-said").replaceChildren(); $("report").replaceChildren(); });
}
