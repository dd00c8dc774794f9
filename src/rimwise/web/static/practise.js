// The circle follows the sliders, and the sliders a click into the picture.
"use strict";

function placing(form) {
  const over = document.querySelector("[data-over]");
  const circle = document.querySelector("[data-circle]");
  const at = (name) => form.elements.namedItem(name);
  const draw = () => {
    circle.setAttribute("cx", at("x").value);
    circle.setAttribute("cy", at("y").value);
    circle.setAttribute("r", String(Number(at("size").value) / 2));
  };
  form.addEventListener("input", draw);
  over.addEventListener("click", (event) => {
    const box = over.getBoundingClientRect();
    at("x").value = String(((event.clientX - box.left) / box.width) * over.viewBox.baseVal.width);
    at("y").value = String(((event.clientY - box.top) / box.height) * over.viewBox.baseVal.height);
    draw();
  });
  draw();
}

document.querySelectorAll("form[data-places]").forEach(placing);
