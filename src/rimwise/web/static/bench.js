// Hands on the photograph and on the strip. Numbers come from the program: here is no formula.
"use strict";

const REACH = 15; // screen pixels around a placed point in which a hand takes it
const HISTORY = 200;

Bench.begin = async (root) => {
  const find = (name) => root.querySelector(`[data-${name}]`);
  const stage = find("stage"), strip = find("strip");
  const state = {
    name: root.dataset.bench, words: root.dataset, curve: "opening", tool: "point", at: 0,
    past: [], future: [], other: null, arc: null, busy: false, again: false,
  };
  const answer = await fetch(`/bench/${state.name}/start`, { headers: { Accept: "application/json" } });
  if (!answer.ok) return Bench.trouble(find, (await answer.json()).sentence);
  Object.assign(state, await answer.json());
  Bench.build(state, stage);
  const bench = { root, find, stage, strip, state };
  Bench.listen(bench);
  Bench.measures(bench);
  Bench.draws(bench);
  Bench.tells(bench);
  const resized = new ResizeObserver(() => { if (Bench.measures(bench)) Bench.draws(bench); });
  [stage, strip].forEach((one) => resized.observe(one));
  root.dataset.ready = "yes";
  return bench;
};

Bench.trouble = (find, words) => {
  const box = find("trouble");
  box.textContent = words || "";
  box.hidden = !words;
};

// Asked between two drawings, a size makes the browser lay out the whole page once more.
Bench.measures = ({ state, stage, strip }) => {
  const then = state.room || {};
  state.room = { wide: stage.clientWidth, tall: stage.clientHeight, strip: strip.clientWidth };
  return Object.keys(state.room).some((name) => state.room[name] !== then[name]);
};

Bench.draws = ({ state, stage, strip, find }) => {
  Bench.draw(state, stage);
  Bench.drawStrip(state, strip);
  find("scale").textContent = state.frame
    ? `${state.words.benchTimes} ${state.frame.times} ×` : "";
};

// What hands hold is drawn at once; numbers and curves follow from the program.
Bench.drawsHeld = ({ state }) => {
  Bench.drawHandles(state);
  if (state.frame) Bench.stripMarks(state, state.frame);
};

Bench.changes = (bench, told, before) => {
  const { state } = bench;
  state.past.push(before || state.told);
  if (state.past.length > HISTORY) state.past.shift();
  state.future = [];
  Bench.shows(bench, told);
};

Bench.shows = (bench, told) => {
  bench.state.told = told;
  Bench.drawsHeld(bench);
  Bench.asks(bench);
};

Bench.asks = async (bench) => {
  const { state, find, root } = bench;
  if (state.busy) { state.again = true; return; }
  state.busy = true;
  find("wait").hidden = false;
  do {
    state.again = false;
    const body = new URLSearchParams({ csrf: root.dataset.csrf, told: JSON.stringify(state.told) });
    try {
      const answer = await fetch(`/bench/${state.name}/numbers`,
        { method: "POST", body, headers: { Accept: "application/json" } });
      const said = await answer.json();
      if (answer.ok) state.numbers = said;
      Bench.trouble(find, answer.ok ? "" : said.sentence);
    } catch (error) {
      Bench.trouble(find, state.words.formLost);
    }
    Bench.draws(bench);
    Bench.tells(bench);
  } while (state.again);
  state.busy = false;
  find("wait").hidden = true;
};

Bench.row = (body, cells, head = true) => {
  const row = document.createElement("tr");
  cells.forEach((words, k) => {
    const cell = document.createElement(head && k === 0 ? "th" : "td");
    if (head && k === 0) cell.scope = "row";
    if (words instanceof Node) cell.append(words); else cell.textContent = words;
    row.append(cell);
  });
  body.append(row);
};

// Only what differs is written, so that the page is not laid out anew at each move of a hand.
Bench.says = (one, words) => { if (one.textContent !== words) one.textContent = words; };

Bench.fills = (body, rows) => {
  while (body.children.length > rows.length) body.lastChild.remove();
  rows.forEach((cells, k) => {
    const row = body.children[k];
    if (!row) Bench.row(body, cells);
    else cells.forEach((words, at) => Bench.says(row.children[at], words));
  });
};

Bench.glances = (glance, told) => {
  while (glance.children.length > told.length) glance.lastChild.remove();
  told.forEach(([what, value, note], k) => {
    if (!glance.children[k]) {
      const part = document.createElement("div"), dd = document.createElement("dd");
      dd.append(document.createElement("span"), " ", document.createElement("small"));
      part.append(document.createElement("dt"), dd);
      glance.append(part);
    }
    const [dt, dd] = glance.children[k].children;
    Bench.says(dt, what);
    Bench.says(dd.children[0], value);
    Bench.says(dd.children[1], k < 2 ? note : "");
  });
};

Bench.tells = (bench) => {
  const { state, find } = bench, { numbers, other } = state;
  const headline = find("headline");
  headline.className = `status ${numbers.status}`;
  Bench.says(headline, numbers.headline);
  Bench.glances(find("glance"), numbers.glance);
  const reasons = find("reasons");
  reasons.replaceChildren();
  const then = new Map((other ? other.rows : []).map((row) => [row[0], row[1]]));
  Bench.fills(find("rows"), numbers.rows.map(([what, value, note]) =>
    [what, value, other ? then.get(what) || "" : note]));
  Bench.fills(find("hours"), numbers.by_hour);
  numbers.reasons.forEach((words) => {
    const item = document.createElement("li");
    item.textContent = words;
    reasons.append(item);
  });
  find("at").textContent = `${Math.round(state.at)}°`;
  Bench.lists(bench);
};

Bench.lists = (bench) => {
  const { state, find } = bench, body = find("points"), words = state.words;
  body.replaceChildren();
  const line = (curve, kind, where, key, index) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = words.benchRemove.split(" ")[0];
    button.setAttribute("aria-label", `${button.textContent}: ${words[curve]}, ${kind} ${where}`);
    button.addEventListener("click", () => Bench.changes(bench, { ...state.told,
      [key]: state.told[key].filter((_, k) => k !== index) }));
    Bench.row(body, [words[curve], `${kind} ${where}`, button]);
  };
  if (!state.numbers.curves) return;
  [["opening", "benchOpening"], ["optic", "benchOptic"]].forEach(([curve, name]) => {
    state.told[`${curve}_px`].forEach((point, k) => {
      const where = `${Math.round(Bench.polar(state, point).deg)}°`;
      line(name, words.benchPointOne, where, `${curve}_px`, k);
    });
    state.told[`hidden_${curve}_deg`].forEach(([from, to], k) => {
      line(name, words.benchArc, `${Math.round(from)}° – ${Math.round(to)}°`, `hidden_${curve}_deg`, k);
    });
  });
  if (!body.children.length) Bench.row(body, [words.benchNone], false);
};

// What a hand changes: each answers by a new set of points.
Bench.exact = (value) => Math.round(value * 100) / 100;

Bench.withPoint = (told, curve, index, point) => {
  const key = `${curve}_px`, points = [...told[key]];
  points[index === null ? points.length : index] = point.map(Bench.exact);
  return { ...told, [key]: points };
};

Bench.whole = (state, moved) => {
  const { curves } = state.numbers, key = `${state.curve}_px`;
  const radii = state.curve === "optic" ? curves.rim : curves.opening;
  if (!radii) return { ...state.told, [key]: state.told[key].map((point) => moved(point)) };
  const flags = curves.shown[state.curve === "optic" ? "rim_seen" : "opening_found"] || "";
  const seen = (flags.match(/1/g) || []).length >= 90;
  const points = [];
  for (let deg = 0; deg < 360; deg += 15) {
    if (!seen || flags[deg] === "1") {
      const radius = radii[deg];
      points.push(moved(Bench.place(state, deg, radius), deg, radius).map(Bench.exact));
    }
  }
  return { ...state.told, [key]: points };
};

Bench.withArc = (told, curve, from, sweep) => {
  if (Math.abs(sweep) < 1) return told;
  const key = `hidden_${curve}_deg`, start = (sweep > 0 ? from : from + sweep) + 360;
  const arc = [start % 360, (start % 360) + Math.min(Math.abs(sweep), 359.9)];
  return { ...told, [key]: [...told[key], arc.map(Bench.exact)] };
};

// Out or in by so many pixels at the direction of the cursor.
Bench.nudge = (bench, step) => {
  const { state } = bench, { curves } = state.numbers, points = state.told[`${state.curve}_px`];
  if (!curves) return;
  let index = null, nearest = 4;
  points.forEach((point, k) => {
    const away = Math.abs(((Bench.polar(state, point).deg - state.at + 540) % 360) - 180);
    if (away < nearest) [index, nearest] = [k, away];
  });
  const radii = state.curve === "optic" ? curves.rim : curves.opening;
  const here = index === null ? null : Bench.polar(state, points[index]);
  const radius = here ? here.radius : radii ? radii[Math.round(state.at) % 360]
    : (curves.rim || [state.picture.width / 5])[0];
  const deg = here ? here.deg : state.at;
  Bench.changes(bench, Bench.withPoint(state.told, state.curve, index,
    Bench.place(state, deg, radius + step)));
};

Bench.drop = (bench) => {
  const { state } = bench, key = `${state.curve}_px`;
  const away = (point) => Math.abs(((Bench.polar(state, point).deg - state.at + 540) % 360) - 180);
  const kept = state.told[key].filter((point) => away(point) > 4);
  if (kept.length < state.told[key].length) Bench.changes(bench, { ...state.told, [key]: kept });
};

Bench.shift = (bench, right, down) => {
  const { state } = bench, [a, b, c, d] = state.turn.matrix;
  const du = a * right + b * down, dv = c * right + d * down; // the inverse of a pure turn
  Bench.changes(bench, Bench.whole(state, ([u, v]) => [u + du, v + dv]));
};

Bench.goes = (bench, degrees) => {
  const { state, find } = bench;
  state.at = (state.at + degrees + 360) % 360;
  if (state.arc) state.arc.sweep += degrees;
  const hour = Math.round((((90 - state.at) / 30 + 24) % 12) * 10) / 10 || 12;
  find("at").textContent = `${Math.round(state.at)}° (${hour} h)${state.arc ? " …" : ""}`;
  Bench.draws(bench);
};

Bench.arcs = (bench) => {
  const { state } = bench, { arc } = state;
  state.arc = arc ? null : { from: state.at, sweep: 0 };
  if (arc) Bench.changes(bench, Bench.withArc(state.told, state.curve, arc.from, arc.sweep));
  Bench.goes(bench, 0);
};

Bench.DOES = {
  undo: (bench) => {
    const { state } = bench, told = state.past.pop();
    if (told) { state.future.push(state.told); Bench.shows(bench, told); }
  },
  redo: (bench) => {
    const { state } = bench, told = state.future.pop();
    if (told) { state.past.push(state.told); Bench.shows(bench, told); }
  },
  swap: (bench) => Bench.changes(bench, { ...bench.state.told, swap: !bench.state.told.swap }),
  fresh: (bench) => Bench.changes(bench, { opening_px: [], optic_px: [], hidden_opening_deg: [],
    hidden_optic_deg: [], swap: false }),
  in: (bench) => { Bench.zoom(bench.state, 1.4); Bench.draws(bench); },
  out: (bench) => { Bench.zoom(bench.state, 1 / 1.4); Bench.draws(bench); },
  fit: (bench) => { Bench.zoom(bench.state, 0.001); Bench.draws(bench); },
  back: (bench) => Bench.goes(bench, 5),
  on: (bench) => Bench.goes(bench, -5),
  outward: (bench) => Bench.nudge(bench, 1),
  inward: (bench) => Bench.nudge(bench, -1),
  remove: (bench) => Bench.drop(bench),
  arc: (bench) => Bench.arcs(bench),
};

Bench.chooses = ({ root, state, stage }, group, value) => {
  state[group] = value;
  const radio = root.querySelector(`input[name="${group}"][value="${value}"]`);
  radio.checked = true;
  Bench.draw(state, stage);
};

Bench.KEYS = {
  o: (bench) => Bench.chooses(bench, "curve", "opening"),
  p: (bench) => Bench.chooses(bench, "curve", "optic"),
  w: (bench) => Bench.chooses(bench, "tool", bench.state.tool === "whole" ? "point" : "whole"),
  h: (bench) => Bench.arcs(bench),
  s: Bench.DOES.swap, z: Bench.DOES.undo, y: Bench.DOES.redo,
  "+": Bench.DOES.in, "=": Bench.DOES.in, "-": Bench.DOES.out, 0: Bench.DOES.fit,
  delete: Bench.DOES.remove, backspace: Bench.DOES.remove,
};

Bench.pressed = (bench, event) => {
  if (event.altKey || event.metaKey) return;
  const { state } = bench, arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1],
    ArrowDown: [0, 1] }[event.key];
  if (arrows) {
    const [right, down] = arrows.map((one) => one * (event.shiftKey ? 5 : 1));
    if (state.tool === "whole") Bench.shift(bench, right, down);
    else if (right) Bench.goes(bench, event.shiftKey ? -2 * right : -right);
    else Bench.nudge(bench, -down);
  } else {
    const act = Bench.KEYS[event.key.toLowerCase()];
    if (!act || (event.ctrlKey && !["z", "y"].includes(event.key.toLowerCase()))) return;
    act(bench);
  }
  event.preventDefault();
};

Bench.listen = (bench) => {
  const { root, state, stage, strip, find } = bench;
  root.querySelectorAll("[data-do]").forEach((button) => {
    button.addEventListener("click", () => Bench.DOES[button.dataset.do](bench));
  });
  root.querySelectorAll('input[name="curve"], input[name="tool"]').forEach((radio) => {
    radio.addEventListener("change", () => {
      state[radio.name] = radio.value;
      Bench.draws(bench);
    });
  });
  [stage, strip].forEach((one) => one.addEventListener("keydown", (event) => Bench.pressed(bench, event)));
  Bench.handsOnStage(bench);
  Bench.handsOnStrip(bench);
  const compare = find("compare");
  if (compare) compare.addEventListener("change", () => Bench.compares(bench, compare.value));
  find("save").addEventListener("submit", (event) => Bench.saves(bench, event));
};

Bench.compares = async (bench, number) => {
  const { state, find } = bench;
  state.other = null;
  if (number) {
    const answer = await fetch(`/bench/${state.name}/version/${number}`);
    if (answer.ok) state.other = await answer.json();
  }
  const third = find("third");
  third.dataset.own = third.dataset.own || third.textContent;
  third.textContent = state.other ? `${state.words.benchVersion} ${number}` : third.dataset.own;
  Bench.draws(bench);
  Bench.tells(bench);
};

Bench.saves = async (bench, event) => {
  event.preventDefault();
  const { state, find } = bench, form = find("save");
  const body = new URLSearchParams(new FormData(form, event.submitter));
  body.set("told", JSON.stringify(state.told));
  form.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
    const said = await answer.json();
    if (said.go) { window.location.assign(said.go); return; }
    Bench.trouble(find, said.sentence);
    find("meanwhile").hidden = !said.newer;
    if (said.newer) find("newer").href = said.newer;
  } catch (error) {
    Bench.trouble(find, state.words.formLost);
  }
  form.removeAttribute("aria-busy");
};
