// Enhancements of plain pages. Everything works without this file.
"use strict";

// Move focus to the error summary, for sighted and screen reader users alike.
function focusErrors(root) {
  const list = root.querySelector("#problems");
  if (list) list.focus();
}

// Running timers: <span data-since="2026-03-05T14:05:00+00:00"></span>
function runTimers() {
  for (const element of document.querySelectorAll("[data-since]")) {
    const minutes = Math.floor((Date.now() - Date.parse(element.dataset.since)) / 60000);
    if (!(minutes >= 0)) continue;
    const hours = Math.floor(minutes / 60);
    element.textContent = hours ? `${hours} h ${minutes % 60} min` : `${minutes} min`;
  }
}

// A form is submitted once; its button shows that it is being saved.
function markBusy(form, button) {
  form.dataset.busy = "yes";
  for (const other of form.querySelectorAll("button:not([type=button])")) {
    other.setAttribute("aria-busy", "true");
  }
  if (button) {
    button.dataset.label = button.textContent;
    button.textContent = button.dataset.saving || "Saving…";
  }
  // A download leaves the page in place: enable the button again.
  setTimeout(clearBusy, 8000, form);
}

function clearBusy(form) {
  delete form.dataset.busy;
  for (const button of form.querySelectorAll("[aria-busy]")) {
    button.removeAttribute("aria-busy");
    if (button.dataset.label) button.textContent = button.dataset.label;
    delete button.dataset.label;
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
  // After this event, so that the pressed button's name and value are still sent.
  setTimeout(markBusy, 0, form, event.submitter);
}, true);

window.addEventListener("pageshow", () => {
  document.querySelectorAll("form[data-busy]").forEach(clearBusy);
});
document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.target.closest("form");
  if (form) clearBusy(form);
});

// Without a response nothing on the page changes, so the user must be told.
function tellNotSent(text) {
  const main = document.getElementById("main");
  document.getElementById("not-sent")?.remove();
  const list = Object.assign(document.createElement("ul"), { id: "not-sent", className: "messages" });
  const item = Object.assign(document.createElement("li"), { className: "message error", textContent: text });
  item.setAttribute("role", "alert");
  list.append(item);
  main.prepend(list);
  list.scrollIntoView({ block: "nearest" });
}
for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, () => tellNotSent(
    "The server did not answer. Your entries are still on this page: send them again. Nothing is saved twice.",
  ));
}
document.addEventListener("htmx:responseError", (event) => {
  const { xhr } = event.detail;
  const isText = (xhr.getResponseHeader("Content-Type") || "").startsWith("text/plain");
  tellNotSent(isText ? xhr.responseText : "The server refused this. Your entries are still on this page.");
});
document.addEventListener("htmx:afterOnLoad", () => document.getElementById("not-sent")?.remove());
document.addEventListener("htmx:load", (event) => {
  focusErrors(event.target);
  runTimers();
});

// What is typed while a response is on its way is kept, and so is the focus.
const requests = new WeakMap();
const responses = new WeakMap();
const valueOf = (box) => (box.matches("[type=checkbox], [type=radio]") ? box.checked : box.value);
const boxesIn = (element) =>
  [...element.querySelectorAll("input[id]:not([type=hidden]), select[id], textarea[id]")];

document.addEventListener("htmx:beforeRequest", (event) => {
  const { xhr, target } = event.detail;
  requests.set(xhr, {
    texts: new Map(boxesIn(target).map((box) => [box.id, valueOf(box)])),
    focus: document.activeElement,
  });
});
document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr, target } = event.detail;
  const before = requests.get(xhr);
  if (!before) return;
  const focus = document.activeElement;
  responses.set(xhr, {
    typed: boxesIn(target)
      .filter((box) => before.texts.has(box.id) && before.texts.get(box.id) !== valueOf(box))
      .map((box) => [box.id, valueOf(box)]),
    focus: focus !== before.focus && target.contains(focus) ? focus.id : "",
  });
});
document.addEventListener("htmx:afterSettle", (event) => {
  const response = responses.get(event.detail.xhr);
  if (!response) return;
  responses.delete(event.detail.xhr);
  const focus = response.focus && document.getElementById(response.focus);
  if (focus) focus.focus();
  for (const [id, value] of response.typed) {
    const box = document.getElementById(id);
    if (!box || valueOf(box) === value) continue;
    if (typeof value === "boolean") box.checked = value;
    else box.value = value;
    const notify = () => box.dispatchEvent(new Event("change", { bubbles: true }));
    if (box === document.activeElement) box.addEventListener("blur", notify, { once: true });
    else notify();
  }
});

// The control of a job's next step gets the focus when the step changes, unless somebody
// is typing.
let nextControl = "";
function focusNext() {
  const id = document.getElementById("next")?.dataset.focus;
  const control = id && document.getElementById(id);
  if (!control || id === nextControl) return;
  nextControl = id;
  const active = document.activeElement;
  const isTyping = active?.matches("input, select, textarea") && active.value && active.id !== "find";
  if (!isTyping && !document.getElementById("problems")) control.focus();
}
document.addEventListener("htmx:afterSettle", () => setTimeout(focusNext));

// A scanner types very fast and presses Enter.
//   In the search box, in no box, or in the empty box of the next step: search for it.
//   In any other box: keep the text, do not submit, move to the next box.
const FAST = 40; // milliseconds between keys; nobody types six keys at that pace
let burst = "";
let lastKeyAt = -Infinity;

document.addEventListener("keydown", (event) => {
  const pause = event.timeStamp - lastKeyAt;
  if (event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) {
    burst = pause < FAST ? burst + event.key : event.key;
    lastKeyAt = event.timeStamp;
    return;
  }
  if (event.key !== "Enter") return;
  const scanned = pause < FAST && burst.length >= 6 ? burst : "";
  burst = "";
  if (!scanned) return;

  const search = document.getElementById("find");
  const box = event.target.closest("input, textarea, select");
  const isUntouched = box?.id === nextControl && box.value === scanned;
  if ((!box || isUntouched) && search) {
    event.preventDefault();
    if (isUntouched) box.value = "";
    search.value = scanned;
    search.form.requestSubmit();
  } else if (box && box !== search && box.tagName !== "TEXTAREA" && !box.closest("[data-scan=send]")) {
    event.preventDefault();
    box.dispatchEvent(new Event("change", { bubbles: true }));
    const boxes = [...box.form?.elements ?? []].filter(
      (field) => field.matches("input:not([type=hidden]), select, textarea, button") && !field.disabled,
    );
    boxes[boxes.indexOf(box) + 1]?.focus();
  }
});

// Ctrl + Enter in any box presses the main button of its form.
// Up and down move through a list of choices, from the box above it and back.
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

focusErrors(document);
focusNext();
runTimers();
setInterval(runTimers, 20000);
