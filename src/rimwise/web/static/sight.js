// How far is the work? Shown as it goes on; the page is loaded anew when a step more is done.
"use strict";

const work = document.querySelector("[data-seen]");

async function ask() {
  try {
    const answer = await fetch(work.dataset.seen);
    if (!answer.ok || String((await answer.json()).done) !== work.dataset.done) {
      window.location.reload();
      return;
    }
  } catch (error) {
    // The next turn asks again.
  }
  setTimeout(ask, 1500);
}

if (work) setTimeout(ask, 1500);
