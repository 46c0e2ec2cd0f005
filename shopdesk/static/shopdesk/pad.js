// A signature pad: an SVG path of integers in a box of 600 by 200.
"use strict";

const MAX_LENGTH = 8000; // characters of the stored path

for (const pad of document.querySelectorAll("[data-pad]")) {
  const field = document.getElementById(pad.dataset.pad);
  const surface = pad.querySelector("svg");
  const ink = pad.querySelector(".ink");
  let drawing = null;
  let last = "";

  const show = () => ink.setAttribute("d", field.value);
  const pointOf = (event) => {
    const box = surface.getBoundingClientRect();
    const within = (part, whole, max) =>
      Math.max(0, Math.min(max, Math.round((part / whole) * max)));
    return `${within(event.clientX - box.left, box.width, 600)} ${within(event.clientY - box.top, box.height, 200)}`;
  };
  const draw = (letter, point) => {
    if (field.value.length + point.length + 1 > MAX_LENGTH) return;
    field.value += letter + point;
    last = point;
    show();
  };

  surface.addEventListener("pointerdown", (event) => {
    if (drawing !== null) return;
    drawing = event.pointerId;
    surface.setPointerCapture(drawing);
    draw("M", pointOf(event));
    event.preventDefault();
  });
  surface.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drawing) return;
    const point = pointOf(event);
    if (point !== last) draw("L", point);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    surface.addEventListener(end, (event) => {
      if (event.pointerId === drawing) drawing = null;
    });
  }
  pad.querySelector("button").addEventListener("click", () => {
    field.value = "";
    show();
  });

  pad.hidden = false;
  show();
}
