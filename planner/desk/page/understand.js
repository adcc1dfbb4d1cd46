// Understanding an answer: why not fewer, one site's story, a loss, the whole report.

import { $, data, el, makeFile, stream, whole } from "./talk.js";
import { asked, change, here, on } from "./state.js";
import { isSettled, plan } from "./ask.js";

const NOT_YET = "The plan is still being searched. Wait until it is done, or stop the search under Ask.";

let looking = new AbortController(); // what is looked for under the question as it stands

// Ask for one thing about the settled answer; a newer question lets it be, and its answer is not shown any more.
async function look(task, said, more, show) {
  if (!isSettled()) { said.textContent = NOT_YET; return; }
  const { signal } = looking;
  said.textContent = "Looking …";
  try {
    await stream(`${here}/${task}`, { ...asked(), ...more }, (line) => {
      if (signal.aborted) return;
      if (line.event === "news") { said.textContent = `Trying ${line.data.stage} …`; return; }
      said.textContent = "";
      if (line.event !== "stopped") show(data(line));
    }, signal);
  } catch (error) {
    if (!signal.aborted) said.textContent = error.message;
  }
}

const explain = () => look("explain", $("explain-said"), {}, showExplanation);

function showExplanation(found) {
  const list = (items) => el("ul", {}, ...items.map((words) => el("li", {}, words)));
  const helps = found.suggestions.map((one) => el("li", {}, el("span", {}, `${one.words} `),
    one.after ? el("span", { class: "small" }, `Then ${whole.format(one.after.hosts)} hosts, ${whole.format(one.after.unserved)} unserved. `) : null,
    el("button", { type: "button", class: "quiet", onclick: () => tryIt(one) }, "Try it")));
  $("explained").replaceChildren(el("h2", {}, "Why not fewer"), el("p", {}, found.proof || "There is no proof in words for this answer."),
    found.sets.length ? el("details", {}, el("summary", {}, `Each group of sites (${found.sets.length})`), list(found.sets)) : "",
    el("h2", {}, "What would help"), helps.length ? el("ul", {}, ...helps) : el("p", {}, "No small change was found that helps."), list(found.notes));
}

function tryIt(one) {
  change("question", (question) => { question.edits = [...(question.edits || []), ...one.edits]; });
  location.hash = "ask";
}

function tellSite(event) {
  event.preventDefault();
  if ($("site").value.trim()) look("explain", $("site-said"), { site: $("site").value }, (found) => showSite(found.site));
  else $("site-said").textContent = "Write the id or the name of a site.";
}

function showSite(site) {
  const rows = site.pools.map((pool) => el("tr", {}, el("th", { scope: "row" }, pool.pool), el("td", { class: "n" }, pool.rtt_ms === null ? "not known" : `${pool.rtt_ms.toFixed(1)} ms`),
    el("td", { class: pool.eligible ? "good" : "" }, pool.serves ? "serves it" : pool.eligible ? "could serve it" : pool.why)));
  const head = el("tr", {}, ...["pool", "round trip", "may serve it?"].map((words) => el("th", { scope: "col" }, words)));
  $("site-said").replaceChildren(el("p", {}, site.words), el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Pools of the site" },
    el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows))));
}

const lose = (lost) => look("lose", $("lost-said"), { lost },
  (found) => $("lost-said").replaceChildren(...(found.singles ? allLosses(found) : oneLoss(found))));

function table(heads, rows) {
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Losses" }, el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((words) => el("th", { scope: "col" }, words)))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell) => el("td", {}, String(cell))))))));
}

function oneLoss(found) {
  const after = found.stranded + found.over;
  return [el("p", { class: after ? "bad" : "good" }, `Without ${found.words}: ${whole.format(found.displaced)} clusters at ${whole.format(found.sites)} sites lose their third vote; `
    + (after ? `${whole.format(after)} of them find no other host.` : "all of them find another host.")),
  found.loads.length ? table(["host", "before", "arriving", "cap", "state"], found.loads.map((load) => [load.host, load.before, load.arriving, load.cap, load.over ? `${load.over} clusters too many` : "has room"])) : "",
  found.left_number ? el("details", {}, el("summary", {}, `${whole.format(found.left_number)} sites without a place to go`), el("p", { class: "small" }, found.left.join(", "))) : ""];
}

function allLosses(found) {
  const rows = found.singles.map((one) => [one.loss, one.displaced, one.stranded, one.over, one.survived ? "survived" : "not survived"]);
  return [el("p", {}, found.words), table(["loss", "clusters displaced", "without a standby", "above the cap", "outcome"], rows)];
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
  const { signal } = looking;
  $("report").textContent = "Making the report …";
  try {
    const { path } = await makeFile(`${here}/file/report`, asked(), () => {}, signal);
    $("report").replaceChildren(el("iframe", { src: `${path}?show`, title: "Report of this answer" }));
  } catch (error) {
    if (!signal.aborted) $("report").textContent = error.message;
  }
}

export function startUnderstanding() {
  $("explain").addEventListener("click", explain);
  $("site-form").addEventListener("submit", tellSite);
  $("lose-form").addEventListener("submit", (event) => { event.preventDefault(); lose([$("lost").value]); });
  $("lose-all").addEventListener("click", () => lose([]));
  $("show-report").addEventListener("click", report);
  on("kept", fillLosses);
  on("question", () => {
    looking.abort();
    looking = new AbortController();
    $("explain-said").textContent = "";
    $("explained").replaceChildren(); $("lost-said").replaceChildren(); $("site-said").replaceChildren(); $("report").replaceChildren();
  });
}
