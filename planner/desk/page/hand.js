// Handing over: files of an answer, and the command line that makes the same plan.

import { $, el, makeFile, post, save } from "./talk.js";
import { asked as asking, here, on, state, tab } from "./state.js";
import { fleet } from "./fleet.js";
import { plan } from "./ask.js";

const NOW = "";

function asked() {
  const kept = $("which").value;
  return kept === NOW ? asking() : { tab, kept };
}

const quoted = (word) => (/^[\w./-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\\''")}'`);

function commands() {
  const kept = state.kept.find((one) => one.id === $("which").value);
  const question = kept ? kept.question : state.question, choices = kept ? kept.choices : state.choices;
  const changed = Object.keys(question).length > 0 || Object.keys(choices.cells || {}).length > 0;
  const file = state.brought.length === 1 ? state.brought[0] : "FOLDER";
  const mapped = Boolean(choices.mapping || fleet?.adopted || Object.keys(choices.columns || {}).length);
  $("command-words").textContent = changed
    ? "This answer changes the fleet. Download \"Fleet as asked\" into the folder where you run the command, then run the command."
    : mapped ? "Download the mapping, put it beside your file, then run:" : "Run it beside your file:";
  const settled = kept ? kept.figures.settled : plan?.of === JSON.stringify(question) && plan.settled;
  $("command-words").textContent += (state.pings && !changed ? " PINGS is your folder of ping output." : "")
    + (settled ? "" : " Not all of this answer is proven, so the command may find another plan that is as good or better.");
  const source = changed ? ["fleet.xlsx"] : mapped ? [file, "--mapping", "fleet.toml"] : [file];
  if (state.pings && !changed) source.push("--pings", "PINGS");
  const lines = [["castingvote", "plan", ...source, "-o", "plan.xlsx"], ["castingvote", "verify", ...source, "plan.xlsx"]];
  $("command").textContent = lines.map((line) => line.map(quoted).join(" ")).join("\n");
}

function show() {
  const before = $("which").value;
  $("which").replaceChildren(el("option", { value: NOW }, "the answer on the page now"), ...state.kept.map((one) => el("option", { value: one.id }, one.name)));
  if (state.kept.some((one) => one.id === before)) $("which").value = before;
  commands();
}

async function download(button) {
  const said = button.dataset.read ? $("findings-said") : $("hand-said");
  const began = performance.now(), files = [...document.querySelectorAll("[data-file]")];
  const tell = (words) => { said.textContent = `${words} (${Math.round((performance.now() - began) / 1000)} s)`; };
  for (const one of files) one.disabled = true;
  $("hand-stop").disabled = false;
  tell(`Making ${button.textContent} …`);
  try {
    const path = `${here}/file/${button.dataset.file}`, what = button.dataset.read ? { ...asking(), question: {} } : asked();
    const made = await makeFile(path, what, (news) => tell(`Making ${button.textContent}: ${news.stage} …`));
    save(made.path);
    said.textContent = `Saved: ${made.name}.`;
  } catch (error) {
    said.textContent = error.message || "Stopped.";
  }
  for (const one of files) one.disabled = one.id === "repaired" && !fleet?.controls;
  $("hand-stop").disabled = true;
}

export function startHandingOver() {
  for (const button of document.querySelectorAll("[data-file]")) button.addEventListener("click", () => download(button));
  $("which").addEventListener("change", commands);
  $("hand-stop").addEventListener("click", () => post(`${here}/stop`, { tab }));
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
