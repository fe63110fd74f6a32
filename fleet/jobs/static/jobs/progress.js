// Shows how far long work is, without loading the page again. When it ends, the page is loaded once more.
const part = document.querySelector("#progress[data-watch]");

async function look() {
  try {
    const answer = await fetch(location.href, { headers: { "X-Part": "progress" }, credentials: "same-origin" });
    if (answer.ok && !answer.redirected) {
      part.innerHTML = await answer.text();
      const now = part.querySelector("[data-state]");
      if (!["waiting", "running"].includes(now?.dataset.state)) {
        if (now?.dataset.state === "done" && now.dataset.address) location.assign(now.dataset.address);
        else location.reload();
        return;
      }
    }
  } catch {
    // No network just now: the work goes on; ask again later.
  }
  setTimeout(look, document.hidden ? 10000 : 1500);
}

if (part) setTimeout(look, 1000);
