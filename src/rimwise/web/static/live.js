// Numbers beside a form while it is filled in; without this the button asks for them.
"use strict";

const pauseMs = 250;

function listed(place, texts, make) {
  place.replaceChildren(...texts.map(make));
}

function row([what, value, note]) {
  const line = document.createElement("div");
  const name = document.createElement("dt");
  const told = document.createElement("dd");
  name.textContent = what;
  told.textContent = value;
  told.title = note;
  line.append(name, told);
  return line;
}

function item(text) {
  const one = document.createElement("li");
  one.textContent = text;
  return one;
}

function showNumbers(panel, answer) {
  const part = (name) => panel.querySelector("[data-" + name + "]");
  panel.hidden = false;
  part("missing").textContent = answer.sentence || "";
  panel.classList.toggle("stale", Boolean(answer.sentence));
  if (answer.sentence) return;
  part("headline").textContent = answer.headline;
  listed(part("rows"), answer.rows, row);
  listed(part("warnings"), answer.warnings, item);
  part("figure").hidden = !answer.drawing;
  if (answer.drawing) {
    part("drawing").src = answer.drawing;
    part("drawing").alt = answer.described;
  }
}

function follow(form) {
  const panel = document.querySelector("[data-shown]");
  let timer = 0;
  let busy = false;
  let again = false;
  const ask = async () => {
    if (busy) { again = true; return; }
    busy = true;
    try {
      const answer = await fetch(form.dataset.live, {
        method: "POST", body: new FormData(form), headers: { Accept: "application/json" } });
      showNumbers(panel, await answer.json());
    } catch (_) {
      panel.classList.add("stale");
    }
    busy = false;
    if (again) { again = false; ask(); }
  };
  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(ask, pauseMs); });
  ask();
}

document.querySelectorAll("form[data-live]").forEach(follow);
