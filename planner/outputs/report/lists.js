// The other long lists: a page of rows at a time, and only those that hold the words of the search where it speaks of sites.

const LIST_ROWS = 25;

function paged(table) {
  const all = [...table.tBodies[0].rows], found = table.hasAttribute("data-find");
  const words = all.map((row) => row.textContent.toLowerCase());
  const bar = document.createElement("p"), less = button("previous"), more = button("next"), told = document.createElement("span");
  let page = 0;
  bar.className = "pager";
  told.setAttribute("role", "status");
  bar.append(less, more, told);
  table.parentElement.after(bar);
  less.addEventListener("click", () => show(page - 1));
  more.addEventListener("click", () => show(page + 1));

  function button(key) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = say(key);
    return made;
  }

  function show(wanted) {
    const asked = found ? $("search").value.toLowerCase().split(/\s+/).filter(Boolean) : [];
    const fit = all.filter((_, row) => asked.every((word) => words[row].includes(word)));
    const last = Math.max(0, Math.ceil(fit.length / LIST_ROWS) - 1);
    page = Math.min(Math.max(wanted, 0), last);
    const shown = new Set(fit.slice(page * LIST_ROWS, (page + 1) * LIST_ROWS));
    for (const row of all) row.classList.toggle("off", !shown.has(row));
    less.disabled = page === 0;
    more.disabled = page === last;
    bar.hidden = all.length <= LIST_ROWS && fit.length === all.length;
    told.textContent = fit.length === 0 ? say("no_site") : say("rows_shown",
      { first: whole.format(page * LIST_ROWS + 1), last: whole.format(page * LIST_ROWS + shown.size), n: whole.format(fit.length) });
    return fit.length;
  }

  show(0);
  if (found) onShown(() => {
    const link = $("count-unserved");
    link.textContent = counted(show(0));
    link.hidden = !link.textContent;
  });
}

// How many unserved sites fit the search; nothing while nothing is searched.
const counted = (fit) => ($("search").value.trim() && fit ? say("count_unserved", { n: whole.format(fit) }) : "");

for (const table of document.querySelectorAll("table.paged")) paged(table);
