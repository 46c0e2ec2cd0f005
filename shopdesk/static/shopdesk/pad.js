// A place to sign by hand: lines of whole numbers in a box of 600 by 200, as an SVG path.
"use strict";

const MOST = 8000; // characters that are kept

for (const pad of document.querySelectorAll("[data-pad]")) {
  const field = document.getElementById(pad.dataset.pad);
  const paper = pad.querySelector("svg");
  const ink = pad.querySelector(".ink");
  let drawing = null;
  let last = "";

  const show = () => ink.setAttribute("d", field.value);
  const spot = (event) => {
    const box = paper.getBoundingClientRect();
    const within = (part, whole, most) =>
      Math.max(0, Math.min(most, Math.round((part / whole) * most)));
    return `${within(event.clientX - box.left, box.width, 600)} ${within(event.clientY - box.top, box.height, 200)}`;
  };
  const draw = (letter, point) => {
    if (field.value.length + point.length + 1 > MOST) return;
    field.value += letter + point;
    last = point;
    show();
  };

  paper.addEventListener("pointerdown", (event) => {
    if (drawing !== null) return;
    drawing = event.pointerId;
    paper.setPointerCapture(drawing);
    draw("M", spot(event));
    event.preventDefault();
  });
  paper.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drawing) return;
    const point = spot(event);
    if (point !== last) draw("L", point);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    paper.addEventListener(end, (event) => {
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
