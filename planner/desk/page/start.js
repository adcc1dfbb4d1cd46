// The start: a fleet is dropped, a saved workspace opened, or one that was begun gone on with.

import { $, bring, dropZone, post } from "./talk.js";

async function take(files) {
  if (!files.length) return;
  try {
    const { id } = await post("/new");
    for (const file of files) {
      $("said").textContent = `Copying ${file.name} …`;
      await bring(`/w/${id}/bring`, file);
    }
    await post(`/w/${id}/state`, { title: files.length === 1 ? files[0].name : `${files.length} files` });
    location.assign(`/w/${id}#fleet`);
  } catch (error) {
    $("said").textContent = error.message;
  }
}

dropZone($("drop"), $("files"), take);
$("saved").addEventListener("change", async () => {
  try {
    const { id } = await bring("/open", $("saved").files[0]);
    location.assign(`/w/${id}#ask`);
  } catch (error) {
    $("said").textContent = error.message;
  }
  $("saved").value = "";
});
for (const button of document.querySelectorAll("[data-remove]")) {
  button.addEventListener("click", async () => {
    if (!button.dataset.sure) {
      button.dataset.sure = "yes";
      button.textContent = "Remove for good";
      return;
    }
    await post(`/w/${button.dataset.remove}/remove`);
    button.closest("li").remove();
  });
}
