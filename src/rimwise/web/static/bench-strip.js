// The unrolled cover strip: direction along x, cover in mm along y, bare below the zero line.
"use strict";

Bench.STRIP_TALL = 210;

Bench.stripFrame = (state) => {
  const { width_mm: width, sd_mm: sd, px_per_mm: scale } = state.numbers;
  const wide = state.room.strip || 600, inner = { left: 54, right: 8, top: 14, bottom: 26 };
  if (!width || !scale) return null;
  const known = width.map((w, k) => [w, 2 * (sd[k] || 0)]).filter(([w]) => w !== null);
  const low = Math.min(-0.1, ...known.map(([w, s]) => w - s)) - 0.05;
  const high = Math.max(0.5, ...known.map(([w, s]) => w + s)) + 0.08;
  const tall = Bench.STRIP_TALL - inner.top - inner.bottom;
  const fit = (scale * Math.min(state.room.wide, 4000)) / state.turn.size[0];
  const times = Math.max(1, Math.min(8, Math.floor(tall / ((high - low) * fit))));
  const perMm = Math.min(times * fit, tall / (high - low));
  const across = wide - inner.left - inner.right;
  return {
    wide, times, low, high,
    x: (deg) => inner.left + (deg / 360) * across,
    y: (mm) => inner.top + (high - mm) * perMm,
    bottom: inner.top + (high - low) * perMm,
    degAt: (x) => (((x - inner.left) / across) * 360 + 360) % 360,
    mmAt: (y) => high - (y - inner.top) / perMm,
  };
};

Bench.coverAt = (state, deg) => {
  const { width_mm: width, curves, px_per_mm: scale } = state.numbers, k = Math.round(deg) % 360;
  if (width && width[k] !== null) return width[k];
  if (!curves || !curves.rim || !curves.opening || !scale) return null;
  return (curves.rim[k] - curves.opening[k]) / scale;
};

Bench.stripRuns = (flags) => {
  const runs = [];
  flags.forEach((flag, k) => {
    if (flag && (k === 0 || !flags[k - 1])) runs.push([k, k]);
    if (flag) runs[runs.length - 1][1] = k;
  });
  return runs;
};

Bench.stripPatterns = (strip) => {
  const defs = Bench.make("defs", {}, strip);
  const hatch = (id, kind, path) => {
    const one = Bench.make("pattern", { id, width: 8, height: 8, patternUnits: "userSpaceOnUse" },
      defs);
    Bench.make("rect", { width: 8, height: 8, class: `${kind}-ground` }, one);
    Bench.make("path", { d: path, class: `${kind}-line` }, one);
  };
  hatch("bare-hatch", "bare", "M-2 10L10 -2M-2 2L2 -2M6 10L10 6");
  hatch("unseen-hatch", "unseen", "M2 2h1M6 6h1");
};

Bench.drawStrip = (state, strip) => {
  strip.replaceChildren();
  const frame = Bench.stripFrame(state);
  state.frame = frame;
  if (!frame) {
    strip.setAttribute("viewBox", "0 0 600 40");
    Bench.make("text", { x: 10, y: 25, class: "plain" }, strip, state.numbers.headline);
    return;
  }
  const tall = frame.bottom + (frame.wide < 520 ? 50 : 62);
  strip.setAttribute("viewBox", `0 0 ${frame.wide} ${tall}`);
  strip.style.height = `${tall}px`;
  Bench.stripPatterns(strip);
  Bench.stripUnseen(state, strip, frame);
  Bench.stripArea(state, strip, frame);
  Bench.stripAxes(state, strip, frame);
  state.layers.marks = Bench.make("g", {}, strip);
  Bench.stripMarks(state, frame);
  Bench.stripLanes(state, strip, frame, tall);
};

// Thick where an edge is plain (2), thin and dotted where it is faint (1), blank where hidden (0).
Bench.stripLanes = (state, strip, frame, tall) => {
  ["opening", "optic"].forEach((edge, row) => {
    const grades = (state.numbers.seen || {})[edge] || [], y = tall - 22 + 14 * row;
    Bench.make("text", { x: frame.x(0) - 4, y: y + 4, class: "plain", "text-anchor": "end" },
      strip, edge === "opening" ? state.words.benchLaneOpening : state.words.benchLaneOptic);
    [[2, "lane"], [1, "lane faint"]].forEach(([grade, kind]) => {
      Bench.stripRuns(grades.map((one) => one === grade)).forEach(([from, to]) => {
        Bench.make("line", { x1: frame.x(from), x2: frame.x(to + 1), y1: y, y2: y, class: kind },
          strip);
      });
    });
  });
};

Bench.stripUnseen = (state, strip, frame) => {
  const { width_mm: width } = state.numbers;
  Bench.stripRuns(width.map((w) => w === null)).forEach(([from, to]) => {
    const x = frame.x(from - 0.5), wide = frame.x(to + 0.5) - x;
    Bench.make("rect", { x, y: frame.y(frame.high), width: wide,
      height: frame.bottom - frame.y(frame.high), fill: "url(#unseen-hatch)" }, strip);
    if (wide > 70) {
      Bench.make("text", { x: x + wide / 2, y: frame.y(frame.high) + 14, class: "plain",
        "text-anchor": "middle" }, strip, state.words.benchUnseen);
    }
  });
};

Bench.stripArea = (state, strip, frame) => {
  const { width_mm: width, sd_mm: sd } = state.numbers, zero = frame.y(0);
  const at = (k, mm) => `${frame.x(k).toFixed(1)} ${frame.y(mm).toFixed(1)}`;
  Bench.stripRuns(width.map((w) => w !== null)).forEach(([from, to]) => {
    const all = Array.from({ length: to - from + 1 }, (_, k) => from + k);
    const line = (mm) => all.map((k) => at(k, mm(k))).join("L");
    const down = [...all].reverse();
    const filled = (clip) => `M${line((k) => clip(width[k]))}L${frame.x(to)} ${zero}L${
      frame.x(from)} ${zero}Z`;
    Bench.make("path", { d: filled((w) => Math.max(w, 0)), class: "covered" }, strip);
    if (all.some((k) => width[k] < 0)) {
      Bench.make("path", { d: filled((w) => Math.min(w, 0)), fill: "url(#bare-hatch)" }, strip);
    }
    const band = `M${line((k) => width[k] + 2 * sd[k])}L${down.map((k) =>
      at(k, width[k] - 2 * sd[k])).join("L")}Z`;
    Bench.make("path", { d: band, class: "band" }, strip);
    Bench.make("path", { d: `M${line((k) => width[k])}`, class: "line" }, strip);
  });
  const other = state.other && state.other.width_mm;
  if (other) {
    Bench.stripRuns(other.map((w) => w !== null)).forEach(([from, to]) => {
      const places = other.slice(from, to + 1).map((w, k) => at(from + k, w));
      Bench.make("path", { d: `M${places.join("L")}`, class: "line other" }, strip);
    });
  }
};

Bench.stripAxes = (state, strip, frame) => {
  const put = (x, y, words, anchor, kind = "plain") => Bench.make("text", { x, y, class: kind,
    "text-anchor": anchor }, strip, words);
  const step = frame.high - frame.low > 2 ? 0.5 : 0.25;
  for (let k = Math.ceil(frame.low / step); k * step < frame.high; k += 1) {
    const y = frame.y(k * step);
    Bench.make("line", { x1: frame.x(0), x2: frame.x(360), y1: y, y2: y,
      class: k === 0 ? "zero" : "grid" }, strip);
    put(frame.x(0) - 4, y + 4, (k * step).toFixed(2).replace("-", "−"), "end");
  }
  const every = frame.wide < 520 ? 90 : 30;
  for (let deg = 0; deg <= 360; deg += every) {
    const hour = (((90 - deg) / 30 + 24) % 12) || 12;
    const anchor = deg === 360 ? "end" : "middle";
    put(frame.x(deg), frame.bottom + 13, frame.wide < 520 ? `${deg}° ${hour} h` : `${deg}°`, anchor);
    if (every === 30) put(frame.x(deg), frame.bottom + 26, `${hour} h`, anchor);
  }
  put(frame.x(2), frame.y(0) - 4, `${state.words.benchCovered} ↑`, "start", "plain strong");
  put(frame.x(2), frame.y(0) + 13, `${state.words.benchBare} ↓`, "start", "plain alarm");
};

Bench.stripMarks = (state, frame) => {
  const layer = state.layers.marks;
  layer.replaceChildren();
  const { least, px_per_mm: scale, curves } = state.numbers;
  const arcs = state.told[`hidden_${state.curve}_deg`];
  arcs.forEach(([from, to]) => {
    const long = (to - from + 360) % 360;
    [[from, Math.min(from + long, 360)], [0, from + long - 360]].forEach(([a, b]) => {
      if (b > a) {
        Bench.make("rect", { x: frame.x(a), width: frame.x(b) - frame.x(a), y: frame.bottom - 6,
          height: 6, class: "arc" }, layer);
      }
    });
  });
  state.told[`${state.curve}_px`].forEach((point) => {
    const { deg, radius } = Bench.polar(state, point), k = Math.round(deg) % 360;
    const cover = state.curve === "optic" ? 0 : (curves.rim[k] - radius) / scale;
    Bench.make("rect", { x: frame.x(deg) - 5, y: frame.y(cover) - 5, width: 10, height: 10,
      class: `placed ${state.curve}` }, layer);
  });
  if (least) {
    const [x, y] = [frame.x(least.at_deg), frame.y(least.value)];
    Bench.make("path", { d: `M${x - 7} ${y}L${x} ${y - 7}L${x + 7} ${y}L${x} ${y + 7}Z`,
      class: "least" }, layer);
  }
  Bench.make("line", { x1: frame.x(state.at), x2: frame.x(state.at), y1: frame.y(frame.high),
    y2: frame.bottom, class: "cursor" }, layer);
};
