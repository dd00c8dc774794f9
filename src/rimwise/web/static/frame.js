// Says how far a recording is, and shows the result when it is there.
"use strict";

async function followed(box) {
  try {
    const answer = await fetch(box.dataset.follow);
    if (answer.ok) {
      const told = await answer.json();
      if (!told.open) { window.location.reload(); return; }
      const bar = box.querySelector("progress");
      if (told.of) {
        bar.max = told.of;
        bar.value = told.done;
      }
      box.querySelector("[data-said]").textContent = told.of
        ? `${told.state}: ${told.done} / ${told.of}` : told.state;
    }
  } catch (error) {
    // The program may be starting anew: ask again.
  }
  setTimeout(() => followed(box), 1000);
}

document.querySelectorAll("[data-follow]").forEach(followed);
