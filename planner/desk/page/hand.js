// Handing over: files of an answer, and the command line that makes the same plan.

import { $, el, post, saveFile } from "./talk.js";
import { here, on, saveNow, state } from "./state.js";
import { fleet } from "./fleet.js";

const NOW = "";

function asked() {
  const kept = $("which").value;
  return kept === NOW ? { question: state.question } : { kept };
}

const quoted = (word) => (/^[\w./-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\\''")}'`);

function commands() {
  const kept = state.kept.find((one) => one.id === $("which").value);
  const question = kept ? kept.question : state.question, choices = kept ? kept.choices : state.choices;
  const changed = Object.keys(question).length > 0 || Object.keys(choices.cells || {}).length > 0;
  const file = state.brought.length === 1 ? state.brought[0] : "FOLDER";
  const mapped = Boolean(choices.mapping || fleet?.adopted || Object.keys(choices.columns || {}).length);
  $("command-words").textContent = changed
    ? "This answer changes the fleet: download Fleet as asked beside the command, then run it."
    : mapped ? "Download the mapping, put it beside your file, then run:" : "Run it beside your file:";
  const source = changed ? ["fleet.xlsx"] : mapped ? [file, "--mapping", "fleet.toml"] : [file];
  const lines = [["castingvote", "plan", ...source, "-o", "plan.xlsx"], ["castingvote", "verify", ...source, "plan.xlsx"]];
  $("command").textContent = lines.map((line) => line.map(quoted).join(" ")).join("\n");
}

function show() {
  const before = $("which").value;
  $("which").replaceChildren(el("option", { value: NOW }, "as it is asked now"), ...state.kept.map((one) => el("option", { value: one.id }, one.name)));
  if (state.kept.some((one) => one.id === before)) $("which").value = before;
  commands();
}

async function download(button) {
  const said = button.dataset.read ? $("findings-said") : $("hand-said");
  button.disabled = true;
  said.textContent = `Making ${button.textContent} …`;
  try {
    await saveNow();
    said.textContent = `Saved: ${await saveFile(`${here}/file/${button.dataset.file}`, button.dataset.read ? { question: {} } : asked())}.`;
  } catch (error) {
    said.textContent = error.message;
  }
  button.disabled = false;
}

export function startHandingOver() {
  for (const button of document.querySelectorAll("[data-file]")) button.addEventListener("click", () => download(button));
  $("which").addEventListener("change", commands);
  $("copy").addEventListener("click", async () => {
    await navigator.clipboard.writeText($("command").textContent).catch(() => {});
    $("copied").textContent = "Copied.";
  });
  $("remove").addEventListener("click", async () => {
    if (!$("remove").dataset.sure) {
      $("remove").dataset.sure = "yes";
      $("remove").textContent = "Remove it for good, with all kept answers";
      return;
    }
    await post(`${here}/remove`);
    location.assign("/");
  });
  on("kept", show);
  on("question", commands);
  on("choices", commands);
  show();
}
