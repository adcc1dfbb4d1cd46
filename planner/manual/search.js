
"use strict";
const words = document.getElementById("words"), count = document.getElementById("count"), found = document.getElementById("found");
const articles = [...document.querySelectorAll("article")];
// A part is a heading with all that stands below it, up to the next heading.
const parts = articles.flatMap((article) => {
  const list = [];
  for (const child of article.children) {
    if (/^H[1-4]$/.test(child.tagName)) list.push({ article, heading: child, text: "" });
    if (list.length) list.at(-1).text += " " + child.textContent.replace(/\s+/g, " ");
  }
  return list;
});
parts.forEach((part, at) => { part.heading.id ||= "part-" + at; part.low = part.text.toLowerCase(); });

function show() {
  const asked = words.value.toLowerCase().split(/\s+/).filter(Boolean);
  const target = document.getElementById(location.hash.slice(1)) || articles[0];
  found.hidden = !asked.length;
  count.textContent = "";
  for (const article of articles) article.hidden = asked.length > 0 || !article.contains(target);
  if (!asked.length) return;
  const hits = parts.filter((part) => asked.every((word) => part.low.includes(word)));
  const inHeading = (part) => asked.every((word) => part.heading.textContent.toLowerCase().includes(word));
  hits.sort((one, other) => inHeading(other) - inHeading(one));
  count.textContent = hits.length === 1 ? "1 place" : hits.length + " places";
  found.replaceChildren(...hits.map((part) => line(part, asked)));
}

function line(part, asked) {
  const item = document.createElement("li"), link = document.createElement("a");
  const at = Math.max(0, part.low.indexOf(asked[0]) - 60);
  link.href = "#" + part.heading.id;
  link.textContent = part.article.dataset.title + ": " + part.heading.textContent;
  link.addEventListener("click", () => { words.value = ""; });
  item.append(link, document.createElement("br"), part.text.slice(at, at + 200).trim());
  return item;
}

words.addEventListener("input", show);
window.addEventListener("hashchange", () => { words.value = ""; show(); document.getElementById(location.hash.slice(1))?.scrollIntoView(); });
show();
