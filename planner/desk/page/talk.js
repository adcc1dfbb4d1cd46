// Speaking with the desk, and the few helpers that every part of the page uses.

export const $ = (id) => document.getElementById(id);
export const whole = new Intl.NumberFormat("en");

// An element with attributes, listeners (on…) and children; text never becomes markup.
export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export const counted = (n, noun) => `${whole.format(n)} ${noun}${n === 1 ? "" : "s"}`;

export function trouble(words) {
  $("trouble").textContent = words || "";
  $("trouble").hidden = !words;
}

const GONE = "The desk does not answer. Run castingvote desk again and open its new address: nothing is lost.";

async function send(path, body, headers) {
  try {
    return await fetch(path, { method: "POST", body, headers });
  } catch {
    throw new Error(GONE);
  }
}

export async function post(path, asked = {}) {
  const answer = await send(path, JSON.stringify(asked), { "content-type": "application/json" });
  if (!answer.ok) throw new Error((await answer.text()) || GONE);
  return answer.json();
}

// The data of an answer; what was refused, or failed, becomes an error in the desk's own words.
export function data(answer) {
  if (answer.event === "done") return answer.data;
  throw new Error(answer.event === "stopped" ? "" : (answer.data || []).join("\n"));
}

// Calls `tell` with each line of a stream, the last of which says how it ended.
export async function stream(path, asked, tell, signal) {
  const answer = await fetch(path, { method: "POST", body: JSON.stringify(asked), signal });
  if (!answer.ok) throw new Error(await answer.text());
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const lines = (rest + value).split("\n");
    rest = lines.pop();
    for (const line of lines) tell(JSON.parse(line));
  }
}

export async function bring(path, file) {
  const answer = await send(path, file, { "x-file-name": encodeURIComponent(file.name) });
  const told = answer.headers.get("content-type")?.includes("json") ? await answer.json() : { words: await answer.text() };
  if (!answer.ok) throw new Error(told.words);
  return told;
}

// Asks for a file and saves it under the name that the desk gives.
export async function saveFile(path, asked) {
  const answer = await send(path, JSON.stringify(asked));
  if (!answer.ok) throw new Error(((await answer.json()).data || ["The file could not be made."]).join("\n"));
  const name = /filename="?([^";]+)/.exec(answer.headers.get("content-disposition") || "");
  const link = el("a", { href: URL.createObjectURL(await answer.blob()), download: name ? name[1] : "file" });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  return link.download;
}

export function dropZone(zone, input, take) {
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => { event.preventDefault(); zone.classList.add("over"); });
  }
  for (const kind of ["dragleave", "drop"]) zone.addEventListener(kind, () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => { event.preventDefault(); take([...event.dataTransfer.files]); });
  input.addEventListener("change", () => { take([...input.files]); input.value = ""; });
}
