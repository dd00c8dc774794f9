// The photograph with its curves. All places are pixels as stored; one group turns them upright.
"use strict";

// The pages hold an SVG: its own namespace makes more, and no address is written here.
const Bench = { NAME: document.querySelector("svg").namespaceURI };

Bench.make = (kind, attributes, parent, words) => {
  const one = document.createElementNS(Bench.NAME, kind);
  Object.entries(attributes).forEach(([name, value]) => one.setAttribute(name, String(value)));
  if (words !== undefined) one.textContent = words;
  if (parent) parent.append(one);
  return one;
};

// The orientation tag as a matrix from stored to upright pixels.
Bench.turn = ({ width, height, orientation: tag }) => {
  const upright = (u, v) => {
    let [x, y, right, down] = [u, v, width - 1, height - 1];
    if (tag >= 5) [x, y, right, down] = [v, u, height - 1, width - 1];
    if ([2, 3, 6, 7].includes(tag)) x = right - x;
    if ([3, 4, 7, 8].includes(tag)) y = down - y;
    return [x, y];
  };
  const [e, f] = upright(0, 0), [a, b] = upright(1, 0), [c, d] = upright(0, 1);
  const size = tag >= 5 ? [height, width] : [width, height];
  return { matrix: [a - e, b - f, c - e, d - f, e, f], size, upright };
};

Bench.centre = (state) => {
  const { curves } = state.numbers;
  if (curves && curves.centre) return curves.centre;
  const all = [...state.told.optic_px, ...state.told.opening_px];
  if (all.length < 3) return [state.picture.width / 2, state.picture.height / 2];
  return [0, 1].map((k) => all.reduce((sum, one) => sum + one[k], 0) / all.length);
};

Bench.place = (state, deg, radius) => {
  const { right, up } = state.numbers.curves, centre = Bench.centre(state);
  const [x, y] = [Math.cos((deg * Math.PI) / 180), Math.sin((deg * Math.PI) / 180)];
  return [0, 1].map((k) => centre[k] + radius * (x * right[k] + y * up[k]));
};

Bench.polar = (state, point) => {
  const { right, up } = state.numbers.curves, centre = Bench.centre(state);
  const away = [point[0] - centre[0], point[1] - centre[1]];
  const x = away[0] * right[0] + away[1] * right[1], y = away[0] * up[0] + away[1] * up[1];
  return { deg: ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360, radius: Math.hypot(x, y) };
};

// A path through all directions for which a flag says yes; broken where it says no.
Bench.path = (state, radii, flags, wanted) => {
  if (!radii) return "";
  let words = "", on = false;
  for (let deg = 0; deg <= 360; deg += 1) {
    const here = !flags || (flags[deg % 360] === "1") === wanted;
    if (here) {
      const [u, v] = Bench.place(state, deg, radii[deg % 360]);
      words += `${on ? "L" : "M"}${u.toFixed(2)} ${v.toFixed(2)}`;
    }
    on = here;
  }
  return words;
};

Bench.build = (state, stage) => {
  const turn = Bench.turn(state.picture);
  state.turn = turn;
  state.view = { x: -0.5, y: -0.5, w: turn.size[0], h: turn.size[1] };
  stage.style.aspectRatio = `${turn.size[0]} / ${turn.size[1]}`;
  const group = Bench.make("g", { transform: `matrix(${turn.matrix.join(" ")})` }, stage);
  Bench.make("image", { href: `/bench/${state.name}/picture.jpg`, x: -0.5, y: -0.5,
    width: state.picture.width, height: state.picture.height, preserveAspectRatio: "none" }, group);
  state.layers = {
    group,
    curves: Bench.make("g", { class: "curves" }, group),
    handles: Bench.make("g", { class: "handles" }, group),
    words: Bench.make("g", { class: "words" }, stage),
  };
};

Bench.scale = ({ view, room }) => Math.min(room.wide / view.w, room.tall / view.h) || 1;

Bench.drawCurves = (state) => {
  const layer = state.layers.curves, { curves } = state.numbers;
  layer.replaceChildren();
  if (!curves) return;
  const twice = (kind, path) => {
    if (!path) return;
    Bench.make("path", { d: path, class: `casing ${kind}` }, layer);
    Bench.make("path", { d: path, class: kind }, layer);
  };
  curves.rings.forEach(([cx, cy, a, b, angle]) => {
    Bench.make("ellipse", { cx, cy, rx: a, ry: b, transform: `rotate(${angle} ${cx} ${cy})`,
      class: "ring" }, layer);
  });
  const { shown } = curves;
  twice("optic thin", Bench.path(state, curves.rim, shown.rim_seen, false));
  twice("optic", Bench.path(state, curves.rim, shown.rim_seen, true));
  twice("opening thin", Bench.path(state, curves.opening, shown.opening_found, false));
  twice("opening", Bench.path(state, curves.opening, shown.opening_found, true));
  const other = state.other && state.other.curves;
  if (other) {
    const then = { ...state, numbers: state.other };
    Bench.make("path", { d: Bench.path(then, other.rim), class: "other" }, layer);
    Bench.make("path", { d: Bench.path(then, other.opening), class: "other" }, layer);
  }
};

Bench.drawHandles = (state) => {
  const layer = state.layers.handles, { curves, least } = state.numbers;
  const pixel = 1 / Bench.scale(state);
  layer.replaceChildren();
  if (!curves) return;
  const radii = state.curve === "optic" ? curves.rim : curves.opening;
  if (radii && state.tool !== "view") {
    for (let deg = 0; deg < 360; deg += 15) {
      const [cx, cy] = Bench.place(state, deg, radii[deg]);
      Bench.make("circle", { cx, cy, r: 3 * pixel, class: "grip" }, layer);
    }
  }
  ["opening", "optic"].forEach((curve) => {
    state.told[`${curve}_px`].forEach(([u, v]) => {
      const half = (curve === state.curve ? 5.5 : 4) * pixel;
      Bench.make("rect", { x: u - half, y: v - half, width: 2 * half, height: 2 * half,
        class: `placed ${curve}` }, layer);
    });
  });
  if (least && curves.opening) {
    const [u, v] = Bench.place(state, least.at_deg, curves.opening[Math.round(least.at_deg) % 360]);
    const k = 8 * pixel;
    Bench.make("path", { d: `M${u - k} ${v}L${u} ${v - k}L${u + k} ${v}L${u} ${v + k}Z`,
      class: "least" }, layer);
  }
  Bench.drawCursor(state, layer, radii, pixel);
};

Bench.drawCursor = (state, layer, radii, pixel) => {
  const { rim, opening } = state.numbers.curves;
  const reach = Math.max(...(rim || opening || [state.picture.width / 5]));
  const [u1, v1] = Bench.place(state, state.at, reach * 0.35);
  const [u2, v2] = Bench.place(state, state.at, reach * 1.12);
  Bench.make("line", { x1: u1, y1: v1, x2: u2, y2: v2, class: "cursor" }, layer);
  if (radii) {
    const [cx, cy] = Bench.place(state, state.at, radii[Math.round(state.at) % 360]);
    Bench.make("circle", { cx, cy, r: 7 * pixel, class: "ringmark" }, layer);
  }
};

Bench.drawWords = (state) => {
  const layer = state.layers.words, { curves, px_per_mm: scale, by_hour: hours } = state.numbers;
  const pixel = 1 / Bench.scale(state), { x, y, w, h } = state.view;
  layer.replaceChildren();
  const put = (u, v, words, anchor) => Bench.make("text", { x: u, y: v, "font-size": 12 * pixel,
    "stroke-width": 3 * pixel, "text-anchor": anchor }, layer, words);
  if (scale) {
    const left = x + 14 * pixel, low = y + h - 14 * pixel;
    Bench.make("path", { d: `M${left} ${low}h${scale}`, class: "casing bar" }, layer);
    Bench.make("path", { d: `M${left} ${low}h${scale}`, class: "bar" }, layer);
    put(left, low - 7 * pixel, state.words.benchMm, "start");
  }
  if (!curves || !curves.rim) return;
  (hours || []).forEach(([hour, where]) => {
    const deg = parseFloat(where), name = where.split(", ")[1] || "";
    if (deg % 30) return;
    const main = deg % 90 === 0;
    const [u, v] = state.turn.upright(...Bench.place(state, deg, curves.rim[deg] * 1.17));
    if (u < x || v < y || u > x + w || v > y + h) return;
    const words = parseInt(hour, 10) + (main ? ` ${name}` : "");
    put(u, v + 4 * pixel, words, "middle");
  });
};

Bench.draw = (state, stage) => {
  const { x, y, w, h } = state.view;
  stage.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
  Bench.drawCurves(state);
  Bench.drawHandles(state);
  Bench.drawWords(state);
};

Bench.zoom = (state, factor, about) => {
  const { view, turn } = state, [wide, tall] = turn.size;
  const w = Math.min(wide, Math.max(wide / 16, view.w / factor)), share = w / view.w;
  const [u, v] = about || [view.x + view.w / 2, view.y + view.h / 2];
  state.view = { x: u - (u - view.x) * share, y: v - (v - view.y) * share, w, h: view.h * share };
  Bench.pan(state, 0, 0);
};

Bench.pan = (state, du, dv) => {
  const { view, turn } = state, [wide, tall] = turn.size;
  view.x = Math.max(-0.5, Math.min(wide - 0.5 - view.w, view.x + du));
  view.y = Math.max(-0.5, Math.min(tall - 0.5 - view.h, view.y + dv));
};
