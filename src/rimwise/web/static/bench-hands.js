// Pointers on the photograph and on the strip: mouse, pen, one finger or two.
"use strict";

// Take the pointer until it is let go; each move and the end are told.
Bench.holds = (target, event, moved, ended) => {
  target.setPointerCapture(event.pointerId);
  const move = (next) => { if (next.pointerId === event.pointerId) moved(next); };
  const end = (next) => {
    if (next.pointerId !== event.pointerId) return;
    ["pointermove", "pointerup", "pointercancel"].forEach((kind) => {
      target.removeEventListener(kind, kind === "pointermove" ? move : end);
    });
    ended(next);
  };
  target.addEventListener("pointermove", move);
  target.addEventListener("pointerup", end);
  target.addEventListener("pointercancel", end);
};

Bench.storedAt = ({ state }, event) => {
  const seen = new DOMPoint(event.clientX, event.clientY);
  const { x, y } = seen.matrixTransform(state.layers.group.getScreenCTM().inverse());
  return [x, y];
};

// Draw from a set of points that the hand is still changing; one step of undo for all of it.
Bench.drags = (bench, target, event, change) => {
  const { state } = bench, before = state.told;
  let changed = false;
  Bench.holds(target, event, (next) => {
    changed = true;
    Bench.shows(bench, change(before, next));
  }, (next) => {
    if (next.type === "pointercancel" || state.pinched) { Bench.shows(bench, before); return; }
    const told = changed ? state.told : change(before, next);
    if (told !== before) Bench.changes(bench, told, before);
  });
};

Bench.nearest = (points, distance, reach) => {
  let index = null, nearest = reach;
  points.forEach((point, k) => {
    const away = distance(point);
    if (away < nearest) [index, nearest] = [k, away];
  });
  return index;
};

Bench.swept = (from) => {
  let last = from, sweep = 0;
  return (deg) => {
    sweep += ((deg - last + 540) % 360) - 180;
    last = deg;
    return sweep;
  };
};

Bench.handsOnStage = (bench) => {
  const { state, stage } = bench, fingers = new Map();
  stage.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || !state.numbers.curves) return;
    stage.focus({ preventScroll: true });
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    state.pinched = fingers.size > 1;
    if (state.pinched) return;
    event.preventDefault();
    Bench.onStage(bench, event);
  });
  stage.addEventListener("pointermove", (event) => {
    if (fingers.size !== 2 || !fingers.has(event.pointerId)) return;
    const spread = () => {
      const [one, two] = [...fingers.values()];
      return Math.hypot(one[0] - two[0], one[1] - two[1]) || 1;
    };
    const before = spread();
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    Bench.zoom(state, spread() / before);
    Bench.draws(bench);
  });
  ["pointerup", "pointercancel"].forEach((kind) => stage.addEventListener(kind, (event) => {
    fingers.delete(event.pointerId);
  }));
  stage.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && state.tool !== "view") return;
    event.preventDefault();
    const about = state.turn.upright(...Bench.storedAt(bench, event));
    Bench.zoom(state, event.deltaY < 0 ? 1.2 : 1 / 1.2, about);
    Bench.draws(bench);
  }, { passive: false });
};

Bench.onStage = (bench, event) => {
  const { state, stage } = bench, pixel = 1 / Bench.scale(state);
  const start = Bench.storedAt(bench, event);
  if (state.tool === "view") {
    let [x, y] = [event.clientX, event.clientY];
    Bench.holds(stage, event, (next) => {
      if (!state.pinched) Bench.pan(state, (x - next.clientX) * pixel, (y - next.clientY) * pixel);
      [x, y] = [next.clientX, next.clientY];
      Bench.draws(bench);
    }, () => {});
    return;
  }
  const { deg } = Bench.polar(state, start);
  state.at = deg;
  if (state.tool === "hide") {
    const sweep = Bench.swept(deg);
    Bench.drags(bench, stage, event, (before, next) => Bench.withArc(before, state.curve, deg,
      sweep(Bench.polar(state, Bench.storedAt(bench, next)).deg)));
  } else if (state.tool === "whole") {
    const then = Bench.whole(state, (point) => point), key = `${state.curve}_px`;
    Bench.drags(bench, stage, event, (before, next) => {
      const [u, v] = Bench.storedAt(bench, next);
      if (Math.hypot(u - start[0], v - start[1]) < pixel) return before;
      const points = then[key].map((one) => [one[0] + u - start[0], one[1] + v - start[1]]);
      return { ...before, [key]: points.map((one) => one.map(Bench.exact)) };
    });
  } else {
    const points = state.told[`${state.curve}_px`];
    const index = Bench.nearest(points,
      (one) => Math.hypot(one[0] - start[0], one[1] - start[1]), REACH * pixel);
    Bench.drags(bench, stage, event, (before, next) => {
      const [u, v] = Bench.storedAt(bench, next);
      return Bench.withPoint(before, state.curve, index, [u, v]);
    });
  }
};

Bench.handsOnStrip = (bench) => {
  const { state, strip } = bench;
  strip.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || !state.frame || !state.numbers.curves) return;
    strip.focus({ preventScroll: true });
    event.preventDefault();
    Bench.onStrip(bench, event);
  });
};

Bench.onStrip = (bench, event) => {
  const { state, strip } = bench, { frame } = state, scale = state.numbers.px_per_mm;
  const curves = { ...state.numbers.curves }, fixed = { ...state, numbers: state.numbers };
  const box = strip.getBoundingClientRect();
  const at = (next) => [frame.degAt(next.clientX - box.left), frame.mmAt(next.clientY - box.top)];
  const [deg, mm] = at(event), optic = state.curve === "optic", key = `${state.curve}_px`;
  const radii = optic ? curves.rim : curves.opening;
  if (!radii || state.tool === "view") return;
  state.at = deg;
  const outward = (more) => (optic ? more : -more) * scale;
  if (state.tool === "hide") {
    const sweep = Bench.swept(deg);
    Bench.drags(bench, strip, event, (before, next) => Bench.withArc(before, state.curve, deg,
      sweep(at(next)[0])));
  } else if (state.tool === "whole") {
    Bench.drags(bench, strip, event, (before, next) => {
      const more = outward(at(next)[1] - mm);
      if (Math.abs(more) < 0.3) return before;
      return { ...before, [key]: Bench.whole(fixed, (_, k, radius) =>
        Bench.place(fixed, k, radius + more))[key] };
    });
  } else {
    const index = Bench.nearest(state.told[key],
      (one) => Math.abs(frame.x(Bench.polar(state, one).deg) - frame.x(deg)), REACH);
    Bench.drags(bench, strip, event, (before, next) => {
      const [there, height] = at(next), k = Math.round(there) % 360;
      const cover = optic ? 0 : Bench.coverAt(fixed, k);
      const radius = radii[k] + outward(height - (cover === null ? 0 : cover));
      return Bench.withPoint(before, state.curve, index, Bench.place(fixed, there, radius));
    });
  }
};

document.querySelectorAll("[data-bench]").forEach((root) => Bench.begin(root));
