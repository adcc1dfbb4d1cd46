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

const GONE = "The desk does not answer. Run castingvote desk again and open its new address. Everything is saved except the change that you just made.";

async function send(path, body, headers, signal) {
  try {
    return await fetch(path, { method: "POST", body, headers, signal });
  } catch (error) {
    throw signal?.aborted ? error : new Error(GONE);
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
  const answer = await send(path, JSON.stringify(asked), {}, signal);
  if (!answer.ok) throw new Error((await answer.text()) || GONE);
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read().catch((error) => { throw signal?.aborted ? error : new Error(GONE); });
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

// Lets the desk make a file, tells its news, and returns its name and the path where it waits.
export async function makeFile(path, asked, tell, signal) {
  let made = null;
  await stream(path, asked, (line) => { if (line.event === "news") tell(line.data); else made = data(line); }, signal);
  return { name: made.name, path: `${path}/${made.ticket}` };
}

export function save(href) {
  const link = el("a", { href, download: "" });
  document.body.append(link);
  link.click();
  link.remove();
}

export function dropZone(zone, input, take) {
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => { event.preventDefault(); zone.classList.add("over"); });
  }
  for (const kind of ["dragleave", "drop"]) zone.addEventListener(kind, () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => { event.preventDefault(); take([...event.dataTransfer.files]); });
  input.addEventListener("change", () => { take([...input.files]); input.value = ""; });
}
