// Makes the forms pleasanter; everything works without it. Nothing is fetched but our own pages.
"use strict";

const largestFirst = 1e6;

function onForms(selector, act) {
  document.querySelectorAll(selector).forEach(act);
}

function say(form, words) {
  const state = form.querySelector("[data-state]");
  if (state) state.textContent = words;
}

function setBusy(form, busy) {
  form.querySelectorAll("button").forEach((button) => { button.disabled = busy; });
  const bar = form.querySelector("[data-bar]");
  if (bar) bar.hidden = !busy;
}

function showWrong(form, sentence, field) {
  const box = document.getElementById("wrong");
  document.querySelectorAll("[aria-invalid]").forEach((one) => one.removeAttribute("aria-invalid"));
  box.querySelector("span").textContent = sentence;
  box.querySelectorAll("a").forEach((link) => link.remove());
  const place = field && document.getElementById(field);
  if (place) {
    const folded = place.closest("details");
    if (folded) folded.open = true;
    const control = place.matches("fieldset") ? place.querySelector("input") : place;
    control.setAttribute("aria-invalid", "true");
    const link = document.createElement("a");
    link.href = "#" + field;
    link.textContent = form.dataset.go;
    link.addEventListener("click", (event) => { event.preventDefault(); control.focus(); });
    box.append(" ", link);
  }
  box.hidden = false;
  box.focus();
}

function send(form, event) {
  event.preventDefault();
  const file = form.querySelector('input[type="file"]').files[0];
  if (file && file.size > Number(form.dataset.most)) {
    showWrong(form, form.dataset.large, form.querySelector('input[type="file"]').id);
    return;
  }
  const bar = form.querySelector("[data-bar]");
  const request = new XMLHttpRequest();
  const failed = (words) => {
    setBusy(form, false);
    say(form, "");
    showWrong(form, words, null);
  };
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.responseType = "json";
  request.upload.addEventListener("progress", (progress) => {
    const share = Math.round((100 * progress.loaded) / Math.max(progress.total, 1));
    bar.value = share;
    if (progress.total > largestFirst) say(form, form.dataset.sending + " " + share + " %");
  });
  request.upload.addEventListener("load", () => {
    bar.removeAttribute("value");
    say(form, form.dataset.working);
  });
  request.addEventListener("error", () => failed(form.dataset.lost));
  request.addEventListener("load", () => {
    const answer = request.response;
    if (answer && answer.go) {
      window.location.assign(answer.go);
    } else if (answer && answer.sentence) {
      setBusy(form, false);
      say(form, "");
      showWrong(form, answer.sentence, answer.field);
    } else {
      failed(form.dataset.lost);
    }
  });
  const data = new FormData(form);
  setBusy(form, true);
  request.send(data);
}

function takeDrops(area) {
  const input = area.querySelector('input[type="file"]');
  const over = (event, inside) => {
    event.preventDefault();
    area.classList.toggle("over", inside);
  };
  area.addEventListener("dragenter", (event) => over(event, true));
  area.addEventListener("dragover", (event) => over(event, true));
  area.addEventListener("dragleave", (event) => over(event, false));
  area.addEventListener("drop", (event) => {
    over(event, false);
    if (event.dataTransfer.files.length === 1) input.files = event.dataTransfer.files;
  });
  // A picture dropped beside the area must not replace the page.
  ["dragover", "drop"].forEach((kind) => {
    document.addEventListener(kind, (event) => event.preventDefault());
  });
}

onForms("form[data-sends]", (form) => form.addEventListener("submit", (event) => send(form, event)));
onForms("form[data-works]", (form) => {
  form.addEventListener("submit", () => {
    if (form.dataset.working) say(form, form.dataset.working);
    form.setAttribute("aria-busy", "true");
  });
});
onForms("[data-drop]", takeDrops);
// A page that the browser kept shows its form ready again.
window.addEventListener("pageshow", () => onForms("form", (form) => { setBusy(form, false); say(form, ""); }));
