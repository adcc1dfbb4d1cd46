// Bringing the fleet: files, questions, findings with remedies, and what each column is taken for.

import { $, bring, counted, data, dropZone, el, post, trouble } from "./talk.js";
import { change, here, on, state, tell } from "./state.js";

export let fleet = null; // what the desk read last

const SAID = { error: "Error", warning: "Doubtful", info: "How it was read" };

export async function read() {
  $("fleet-summary").textContent = "Reading the files …";
  try {
    const answer = await post(`${here}/read`, { choices: state.choices });
    if (answer.event === "stopped") return; // a newer reading is under way
    fleet = data(answer);
    trouble("");
  } catch (error) {
    fleet = null;
    $("fleet-summary").textContent = error.message;
    return;
  }
  $("fleet-summary").textContent = fleet.summary;
  $("brought").textContent = state.brought.join(", ");
  $("questions").replaceChildren(...fleet.questions.map(question));
  showFindings();
  $("tables").replaceChildren(...fleet.tables.map(table));
  document.body.dataset.fleet = fleet.controls ? "yes" : "no";
  tell("question");
}

function question(asked) {
  const id = `q-${asked.key}`;
  const answer = (value) => change("choices", (choices) => { (choices.answers ||= {})[asked.key] = value; });
  const field = asked.free && !asked.choices.length
    ? el("input", { id, value: asked.answer || "", onchange: (event) => answer(event.target.value) })
    : el("select", { id, onchange: (event) => answer(event.target.value) }, ...asked.choices.map((choice) => el("option",
      { value: choice.key, selected: choice.key === (asked.answer ?? asked.choices[0].key) },
      choice.samples ? `${choice.words}: ${choice.samples}` : choice.words)));
  return el("div", { class: "card" }, el("label", { for: id }, asked.words), el("div", {}, field));
}

const write = (key, value) => change("choices", (choices) => { (choices.cells ||= {})[key] = value; });
const mend = (cells) => change("choices", (choices) => {
  for (const cell of cells) for (const key of cell.same) (choices.cells ||= {})[key] = cell.meant;
});

function showFindings() {
  const errors = fleet.findings.filter((one) => one.severity === "error").length;
  const doubts = fleet.findings.filter((one) => one.severity === "warning").length;
  const mended = Object.keys(state.choices.cells || {}).length;
  $("findings-said").textContent = `${counted(errors, "error")} to correct, ${counted(doubts, "doubt")} to look at.`
    + (mended ? ` ${counted(mended, "correction")} made here; the file that you brought is as it was.` : "");
  const meant = fleet.findings.flatMap((one) => one.cells).filter((cell) => cell.meant && cell.key);
  $("mend-all").hidden = meant.length < 2;
  $("mend-all").textContent = `Accept all ${meant.length} proposals`;
  $("mend-all").onclick = () => mend(meant);
  $("repaired").disabled = !fleet.controls;
  $("findings").replaceChildren(...fleet.findings.map(finding));
}

function finding(group) {
  const summary = el("summary", {}, el("span", { class: "tag" }, group.repair ? "Repaired" : SAID[group.severity]), group.words);
  const made = el("details", { class: `finding ${group.severity}`, open: group.severity === "error" }, summary);
  if (!group.cells.length) return made;
  const several = group.cells.filter((cell) => cell.meant && cell.key);
  if (several.length > 1) {
    made.append(el("button", { type: "button", onclick: () => mend(several) }, `Write ${several.length} proposals`));
  }
  made.append(el("ul", {}, ...group.cells.map((cell) => remedy(group, cell))));
  if (group.number > group.cells.length) made.append(el("p", { class: "small" }, `${group.number - group.cells.length} more.`));
  return made;
}

function remedy(group, cell) {
  const row = el("div", { class: "row" });
  if (cell.meant && cell.key) {
    const more = cell.same.length > 1 ? ` and ${cell.same.length - 1} more` : "";
    row.append(el("button", { type: "button", onclick: () => mend([cell]) }, `Write ${cell.meant} into ${cell.cell}${more}`));
  }
  if (cell.key) {
    const field = el("input", { value: cell.value, "aria-label": `New value of ${cell.cell}`, size: "14" });
    const put = () => write(cell.key, field.value);
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") put(); });
    row.append(field, el("button", { type: "button", class: "quiet", onclick: put }, `Correct ${cell.cell}`));
  }
  if (group.severity === "error" || !cell.key) {
    row.append(el("button", { type: "button", class: "quiet", onclick: () => write(cell.row_key, "") },
      `Leave out row ${cell.row_key.split("\n").pop()}`));
  }
  return el("li", {}, el("span", {}, `${cell.cell}: ${cell.words}`), row);
}

function table(one) {
  const rows = one.columns.map((column) => el("tr", {}, el("th", { scope: "row" }, `${column.letter} ${column.header}`),
    el("td", {}, column.samples.join(", ")), el("td", {}, meaning(one, column))));
  const head = el("tr", {}, ...["column", "such as", "taken for"].map((words) => el("th", { scope: "col" }, words)));
  const note = one.hubs.length ? ` The columns ${one.hubs.join(", ")} are read as hubs.`
    : one.matrix ? " Its other columns are read as hubs." : one.more ? ` ${one.more} more columns.` : "";
  return el("details", { class: "card", open: fleet.adopted && ["Sites", "Hubs"].includes(one.sheet) },
    el("summary", {}, `${one.sheet}: sheet ${one.title}, header in row ${one.row}.${note}`),
    el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `Columns of ${one.sheet}` },
      el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows))));
}

function meaning(one, column) {
  const options = [el("option", { value: "" }, column.elsewhere ? `not used here, but used for ${column.elsewhere}` : "not used"), ...one.choices.map((choice) => el("option",
    { value: choice.name, selected: choice.name === column.column, title: choice.meaning }, choice.name))];
  return el("select", { "aria-label": `Meaning of ${column.header} on ${one.title}`, onchange: (event) => {
    const name = event.target.value;
    change("choices", (choices) => {
      const letters = (choices.columns ||= {})[one.sheet] ||= {};
      for (const other of one.columns) if (name && other.column === name) letters[other.letter] = "";
      letters[column.letter] = name;
    });
  } }, ...options);
}

async function take(files) {
  try {
    for (const file of files) {
      $("fleet-summary").textContent = `Copying ${file.name} …`;
      const { brought, choices, revision } = await bring(`${here}/bring`, file);
      Object.assign(state, { brought, choices, revision });
    }
    tell("choices");
  } catch (error) {
    trouble(error.message);
  }
}

export function startFleet() {
  dropZone($("drop"), $("files"), take);
  $("clear").addEventListener("click", async () => { Object.assign(state, { brought: [], choices: {} }, await post(`${here}/clear`)); tell("choices"); });
  on("choices", read);
  return read();
}
