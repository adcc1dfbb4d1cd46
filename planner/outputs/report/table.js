// The list of assignments: a page of rows at a time, so that 10,000 sort and filter at once.

const columns = [
  { key: "site", id: true, text: (row) => rows.site[row] },
  { key: "host", id: true, text: hostName },
  ...(rows.standby.some((standby) => standby >= 0) ? [{ key: "standby", id: true, text: standbyName }] : []),
  { key: "name", text: (row) => rows.name[row] },
  { key: "hub", id: true, text: hubName },
  { key: "rtt", number: (row) => rows.rtt[row], format: tenths },
  { key: "budget", number: (row) => rows.budget[row], format: tenths },
  { key: "margin", number: (row) => rows.margin[row], format: tenths },
  { key: "clusters", number: (row) => rows.clusters[row], format: whole },
  { key: "action", text: (row) => rows.action[row] },
  { key: "current", id: true, text: (row) => rows.current[row] },
  { key: "evidence", text: (row) => rows.evidence[row] },
  { key: "region", text: (row) => rows.region[row] },
];

const list = $("list"), head = list.tHead.rows[0], body = list.tBodies[0];
let sorted = null; // { column, descending }
let ordered = [];
let page = 0;

// The place of each row in the order of a column, worked out when the column is first sorted by.
function ranks(column) {
  if (!column.ranks) {
    const order = rows.site.map((_, row) => row);
    const collator = new Intl.Collator(texts.lang, { numeric: true });
    const words = column.text && order.map(column.text);
    order.sort(words ? (a, b) => collator.compare(words[a], words[b]) : (a, b) => column.number(a) - column.number(b));
    column.ranks = new Int32Array(total);
    order.forEach((row, place) => { column.ranks[row] = place; });
  }
  return column.ranks;
}

function order(shown) {
  ordered = shown.slice();
  if (!sorted) return;
  const place = ranks(sorted.column), sign = sorted.descending ? -1 : 1;
  ordered.sort((a, b) => sign * (place[a] - place[b]));
}

function cell(column, row) {
  const element = document.createElement(column.key === "site" ? "th" : "td");
  if (column.key === "site") element.scope = "row";
  if (column.number) {
    const value = column.number(row);
    element.className = "n";
    element.textContent = value === null ? "" : column.format.format(value);
  } else {
    element.dir = "auto";
    element.className = column.id ? "id" : column.key;
    element.textContent = column.text(row);
  }
  return element;
}

function drawPage() {
  const size = +$("page-size").value || Math.max(ordered.length, 1);
  const pages = Math.max(1, Math.ceil(ordered.length / size));
  page = Math.min(page, pages - 1);
  const first = page * size, some = ordered.slice(first, first + size);
  const filled = some.map((row) => {
    const line = document.createElement("tr");
    line.append(...columns.map((column) => cell(column, row)));
    return line;
  });
  body.replaceChildren(...filled);
  $("previous").disabled = page === 0;
  $("next").disabled = page === pages - 1;
  const words = some.length === 0 ? say("no_rows") : say("rows_shown",
    { first: whole.format(first + 1), last: whole.format(first + some.length), n: whole.format(ordered.length) });
  $("rows-shown").textContent = words;
  $("print-rows").textContent = say("print_rows", { rows: words });
}

function sortBy(column, heading) {
  sorted = { column, descending: sorted !== null && sorted.column === column && !sorted.descending };
  for (const other of head.cells) other.removeAttribute("aria-sort");
  heading.setAttribute("aria-sort", sorted.descending ? "descending" : "ascending");
  order(ordered);
  page = 0;
  drawPage();
}

for (const column of columns) {
  const heading = document.createElement("th"), button = document.createElement("button");
  heading.scope = "col";
  if (column.number) heading.className = "n";
  button.type = "button";
  button.textContent = say(column.key);
  button.addEventListener("click", () => sortBy(column, heading));
  heading.append(button);
  head.append(heading);
}
$("previous").addEventListener("click", () => { page -= 1; drawPage(); });
$("next").addEventListener("click", () => { page += 1; drawPage(); });
$("page-size").addEventListener("change", drawPage);
onShown((shown) => { order(shown); page = 0; drawPage(); });
