// The page of a workspace: steps as tabs, undo, and the parts in their order.

import { $, save, trouble } from "./talk.js";
import { here, redo, saveNow, undo } from "./state.js";
import { fleet, startFleet } from "./fleet.js";
import { startAsking } from "./ask.js";
import { drawMap } from "./map.js";
import { startComparing } from "./compare.js";
import { startUnderstanding } from "./understand.js";
import { startHandingOver } from "./hand.js";

const TABS = ["fleet", "ask", "compare", "understand", "hand"];

function showTab() {
  const wanted = location.hash.slice(1);
  const shown = TABS.includes(wanted) ? wanted : fleet?.controls ? "ask" : "fleet";
  for (const name of TABS) $(`tab-${name}`).hidden = name !== shown;
  for (const link of document.querySelectorAll("[data-tab]")) {
    if (link.dataset.tab === shown) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
  if (shown === "ask") drawMap();
}

$("undo").addEventListener("click", undo);
$("redo").addEventListener("click", redo);
addEventListener("keydown", (event) => {
  const typing = event.target.matches?.("input:not([type=range]), textarea");
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  if (event.key === "z" && !event.shiftKey) { undo(); event.preventDefault(); }
  else if (event.key === "y" || (event.key.toLowerCase() === "z" && event.shiftKey)) { redo(); event.preventDefault(); }
});
$("save").href = `${here}/save`;
$("save").addEventListener("click", async (event) => { // what was changed a moment ago is to be in the file
  event.preventDefault();
  await saveNow().then(() => save(`${here}/save`), (error) => trouble(error.message));
});
addEventListener("hashchange", showTab);
let folded = []; // what printing unfolds, and folds again
addEventListener("beforeprint", () => {
  folded = [...document.querySelectorAll("#answer details:not([open]), #difference details:not([open])")];
  for (const one of folded) one.open = true;
});
addEventListener("afterprint", () => { for (const one of folded) one.open = false; });
startAsking();
startComparing();
startUnderstanding();
startHandingOver();
showTab();
startFleet().then(showTab);
