// What the workspace holds: choices about the files, the question, and the steps before, for undo.

import { $, post, trouble } from "./talk.js";

export const state = JSON.parse($("state").textContent);
export const here = `/w/${state.id}`;
export const tab = crypto.getRandomValues(new Uint32Array(2)).join("");
const MOST_STEPS = 200;
const listeners = { choices: [], question: [], kept: [] };
let merging = "", saving;

export const on = (what, listener) => listeners[what].push(listener);
export const tell = (what) => listeners[what].forEach((listener) => listener());

const snapshot = () => structuredClone({ choices: state.choices, question: state.question });

// Change choices or question; steps of one slider (the same `merge`) count as one for undo.
export function change(what, edit, merge = "") {
  if (!merge || merge !== merging) {
    state.past.push(snapshot());
    if (state.past.length > MOST_STEPS) state.past.shift();
  }
  merging = merge;
  state.future = [];
  edit(state[what]);
  changed(what);
}

function changed(what) {
  $("undo").disabled = !state.past.length;
  $("redo").disabled = !state.future.length;
  save();
  tell(what);
}

export function endMerge() { merging = ""; }

function step(from, to) {
  if (!from.length) return;
  merging = "";
  to.push(snapshot());
  const before = from.pop();
  const fleetToo = JSON.stringify(before.choices) !== JSON.stringify(state.choices);
  Object.assign(state, before);
  if (fleetToo) changed("choices");
  changed("question");
}

export const undo = () => step(state.past, state.future);
export const redo = () => step(state.future, state.past);

const kept = () => ({ choices: state.choices, question: state.question, past: state.past, future: state.future, revision: state.revision });
let sending = Promise.resolve(); // one after the other, so that this tab does not take itself for another one

// What the workspace asks now, as every question to the desk carries it.
export const asked = () => ({ tab, choices: state.choices, question: state.question });

function save() {
  clearTimeout(saving);
  saving = setTimeout(() => saveNow().catch((error) => trouble(error.message)), 150);
}

export function saveNow() {
  clearTimeout(saving);
  saving = null;
  sending = sending.catch(() => {}).then(async () => {
    const answer = await post(`${here}/state`, kept());
    state.revision = answer.revision;
    $("elsewhere").hidden = !answer.changed_elsewhere;
  });
  return sending;
}

addEventListener("pagehide", () => {
  if (saving) fetch(`${here}/state`, { method: "POST", body: JSON.stringify(kept()), keepalive: true });
});
for (const name of ["choices", "question"]) if (Array.isArray(state[name]) || !state[name]) state[name] = {};
$("undo").disabled = !state.past.length;
$("redo").disabled = !state.future.length;
