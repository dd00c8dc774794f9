// A row of questions for each chosen picture; each picture is sent by itself. The list follows.
"use strict";

document.querySelectorAll("[data-queue]").forEach((form) => {
  const input = form.querySelector('input[type="file"]'), rows = form.querySelector("[data-rows]");
  const blank = rows.querySelector("[data-row]"), said = form.querySelector("[data-said]");
  input.multiple = true;
  input.addEventListener("change", () => {
    const before = [...rows.children].map((row) => new Map([...row.querySelectorAll("[name]")]
      .map((one) => [one.name, one.value])));
    rows.replaceChildren(...[...input.files].map((file, k) => {
      const row = blank.cloneNode(true), name = row.querySelector("[data-file]");
      row.querySelectorAll("[name]").forEach((one) => {
        one.value = (before[k] || before[0]).get(one.name) || "";
      });
      name.hidden = false;
      name.textContent = file.name;
      return row;
    }));
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const files = [...input.files], all = [...rows.children];
    for (let k = 0; k < files.length; k += 1) {
      const body = new FormData();
      ["csrf", "who"].forEach((name) => body.set(name, form.elements[name].value));
      all[k].querySelectorAll("[name]").forEach((one) => body.set(one.name, one.value));
      body.set("picture", files[k]);
      try {
        const answer = await fetch("/queue", { method: "POST", body, headers: { Accept: "application/json" } });
        const told = await answer.json();
        if (!told.go) { said.textContent = `${files[k].name}: ${told.sentence}`; return; }
        said.textContent = `${form.dataset.sent} ${k + 1} / ${files.length}`;
      } catch (error) {
        said.textContent = form.dataset.lost;
        return;
      }
    }
    window.location.assign("/queue");
  });
});

async function follow() {
  const rows = new Map([...document.querySelectorAll("[data-number]")]
    .map((row) => [row.dataset.number, row]));
  if (![...rows.values()].some((row) => !row.querySelector("[data-cancel]").hidden)) return;
  const answer = await fetch("/queue/state");
  if (answer.ok) {
    (await answer.json()).forEach((one) => {
      const row = rows.get(one.number);
      if (!row) return;
      row.querySelector("[data-state]").textContent = one.state;
      row.querySelector("[data-sentence]").textContent = one.sentence;
      row.querySelector("[data-cancel]").hidden = !one.open;
      const link = row.querySelector("[data-to]");
      link.hidden = !one.to;
      if (one.to) link.href = one.to;
    });
  }
  setTimeout(follow, 1000);
}

follow();
