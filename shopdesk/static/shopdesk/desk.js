// What the desk does on top of plain pages. Everything works without this file.
"use strict";

// The list of what is wrong comes first, for eyes and for readers of the screen.
function showProblems(root) {
  const list = root.querySelector("#problems");
  if (list) list.focus();
}

// Running minutes: <span data-since="2026-03-05T14:05:00+00:00"></span>
function runTimers() {
  for (const place of document.querySelectorAll("[data-since]")) {
    const minutes = Math.floor((Date.now() - Date.parse(place.dataset.since)) / 60000);
    if (!(minutes >= 0)) continue;
    const hours = Math.floor(minutes / 60);
    place.textContent = hours ? `${hours} h ${minutes % 60} min` : `${minutes} min`;
  }
}

// One press, one answer. The button stays on the page and says what happens.
function setBusy(form, button) {
  form.dataset.busy = "yes";
  for (const one of form.querySelectorAll("button:not([type=button])")) {
    one.setAttribute("aria-busy", "true");
  }
  if (button) {
    button.dataset.word = button.textContent;
    button.textContent = button.dataset.saving || "Saving…";
  }
  // An answer that is a file leaves the page standing: give the button back.
  setTimeout(setFree, 8000, form);
}

function setFree(form) {
  delete form.dataset.busy;
  for (const one of form.querySelectorAll("[aria-busy]")) {
    one.removeAttribute("aria-busy");
    if (one.dataset.word) one.textContent = one.dataset.word;
    delete one.dataset.word;
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.busy) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  // After this turn, so that the pressed button's own name and value are still sent.
  setTimeout(setBusy, 0, form, event.submitter);
}, true);

window.addEventListener("pageshow", () => {
  document.querySelectorAll("form[data-busy]").forEach(setFree);
});
document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.target.closest("form");
  if (form) setFree(form);
});
document.addEventListener("htmx:load", (event) => {
  showProblems(event.target);
  runTimers();
});

// What is typed while an answer is on its way stays typed, and the hand stays where it is.
const asked = new WeakMap();
const answered = new WeakMap();
const text = (box) => (box.matches("[type=checkbox], [type=radio]") ? box.checked : box.value);
const boxesIn = (place) =>
  [...place.querySelectorAll("input[id]:not([type=hidden]), select[id], textarea[id]")];

document.addEventListener("htmx:beforeRequest", (event) => {
  const { xhr, target } = event.detail;
  asked.set(xhr, {
    texts: new Map(boxesIn(target).map((box) => [box.id, text(box)])),
    hand: document.activeElement,
  });
});
document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr, target } = event.detail;
  const then = asked.get(xhr);
  if (!then) return;
  const hand = document.activeElement;
  answered.set(xhr, {
    typed: boxesIn(target)
      .filter((box) => then.texts.has(box.id) && then.texts.get(box.id) !== text(box))
      .map((box) => [box.id, text(box)]),
    hand: hand !== then.hand && target.contains(hand) ? hand.id : "",
  });
});
document.addEventListener("htmx:afterSettle", (event) => {
  const now = answered.get(event.detail.xhr);
  if (!now) return;
  answered.delete(event.detail.xhr);
  const hand = now.hand && document.getElementById(now.hand);
  if (hand) hand.focus();
  for (const [id, value] of now.typed) {
    const box = document.getElementById(id);
    if (!box || text(box) === value) continue;
    if (typeof value === "boolean") box.checked = value;
    else box.value = value;
    const tell = () => box.dispatchEvent(new Event("change", { bubbles: true }));
    if (box === document.activeElement) box.addEventListener("blur", tell, { once: true });
    else tell();
  }
});

// A scanner types like a very fast hand and presses Enter.
//   In the find box, or in no box at all: that finds what was scanned.
//   In any other box: the text stays, the form is not sent, and the next box is next.
const FAST = 40; // milliseconds between keys; no hand types six keys at that pace
let burst = "";
let before = -Infinity;

document.addEventListener("keydown", (event) => {
  const pause = event.timeStamp - before;
  if (event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) {
    burst = pause < FAST ? burst + event.key : event.key;
    before = event.timeStamp;
    return;
  }
  if (event.key !== "Enter") return;
  const scanned = pause < FAST && burst.length >= 6 ? burst : "";
  burst = "";
  if (!scanned) return;

  const find = document.getElementById("find");
  const box = event.target.closest("input, textarea, select");
  if (!box && find) {
    event.preventDefault();
    find.value = scanned;
    find.form.requestSubmit();
  } else if (box && box !== find && box.tagName !== "TEXTAREA" && !box.closest("[data-scan=send]")) {
    event.preventDefault();
    box.dispatchEvent(new Event("change", { bubbles: true }));
    const boxes = [...box.form?.elements ?? []].filter(
      (one) => one.matches("input:not([type=hidden]), select, textarea, button") && !one.disabled,
    );
    boxes[boxes.indexOf(box) + 1]?.focus();
  }
});

// Ctrl + Enter, in any box, presses the first button of its form.
// Up and down go through a list of choices, from the box above it and back.
document.addEventListener("keydown", (event) => {
  const form = event.target.form;
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) {
    const first = form?.querySelector("button.first");
    if (!first) return;
    event.preventDefault();
    form.requestSubmit(first);
    return;
  }
  const list = event.target.closest("[data-arrows]");
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!list || !step || event.target.matches("textarea, select")) return;
  const stops = [...list.querySelectorAll("input[type=search], .choice")];
  const next = stops[stops.indexOf(event.target) + step];
  if (!next) return;
  event.preventDefault();
  next.focus();
});

showProblems(document);
runTimers();
setInterval(runTimers, 20000);
