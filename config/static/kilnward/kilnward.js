"use strict";
// Small helpers that every page shares. No page needs them to work.

// Positions and widths come as data attributes: the security policy forbids style attributes in HTML.
function placeAll(root) {
  for (const el of root.querySelectorAll("[data-left],[data-width],[data-top],[data-height]")) {
    if (el.dataset.left !== undefined) el.style.left = el.dataset.left + "%";
    if (el.dataset.width !== undefined) el.style.width = el.dataset.width + "%";
    if (el.dataset.top !== undefined) el.style.top = el.dataset.top + "%";
    if (el.dataset.height !== undefined) el.style.height = el.dataset.height + "%";
  }
}

document.addEventListener("DOMContentLoaded", () => placeAll(document));
document.addEventListener("htmx:afterSwap", (event) => placeAll(event.target));

// A form marked data-once is sent once, however often it is tapped.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.once === undefined) return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  setTimeout(() => delete form.dataset.sent, 8000);
});

// A page that follows a tap: its forms marked data-rests take nothing for 0.6 s and while a finger is still down. Inert
// is deaf to finger, mouse and keyboard alike; the style sheet gives the same time where this script is late or missing.
const REST_MS = 600;
const fingers = new Set();
let restsUntil = 0;
function rest() {
  restsUntil = performance.now() + REST_MS;
  for (const form of document.querySelectorAll("form[data-rests]")) form.inert = true;
  setTimeout(wake, REST_MS + 5);
}
function wake() {
  if (performance.now() < restsUntil || fingers.size) return;
  for (const form of document.querySelectorAll("form[data-rests]")) form.inert = false;
}
// The form on which a finger went down while it was awake: a tap that began before counts for nothing when it ends.
let pressed = null;
const restingForm = (event) => event.target instanceof Element ? event.target.closest("form[data-rests]") : null;
addEventListener("pointerdown", (event) => {
  const form = restingForm(event);
  pressed = form && !form.inert ? form : null;
  // The first finger of a hand: whatever else was thought to be down was lifted where no page saw it.
  if (event.isPrimary) fingers.clear();
  fingers.add(event.pointerId);
}, true);
addEventListener("click", (event) => {
  const form = restingForm(event);
  // A click without a count comes from the keyboard or an aid.
  if (!form || event.detail === 0 || pressed === form) return;
  event.preventDefault();
  event.stopPropagation();
}, true);
for (const end of ["pointerup", "pointercancel"]) {
  addEventListener(end, (event) => { fingers.delete(event.pointerId); setTimeout(wake, 0); }, true);
}
addEventListener("blur", () => { fingers.clear(); wake(); });
addEventListener("DOMContentLoaded", rest);
addEventListener("pageshow", (event) => { if (event.persisted) { fingers.clear(); rest(); } });
// A key that is held down repeats itself: only its first stroke counts.
addEventListener("keydown", (event) => {
  if (event.repeat && event.target.closest("form[data-rests] button, form[data-rests] summary")) event.preventDefault();
}, true);

// A link to something that is folded unfolds it.
function unfold() {
  const target = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
  for (let box = target; box; box = box.parentElement) if (box.tagName === "DETAILS") box.open = true;
  if (target) target.scrollIntoView();
}
addEventListener("hashchange", unfold);
addEventListener("DOMContentLoaded", unfold);

// A click outside closes the menu, as Escape does.
document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.me[open]")) if (!menu.contains(event.target)) menu.open = false;
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of document.querySelectorAll("details.me[open]")) { menu.open = false; menu.querySelector("summary").focus(); }
});

// Whoever folds away what a page is for finds it folded next time.
addEventListener("DOMContentLoaded", () => {
  const box = document.querySelector("details.purpose");
  const token = document.querySelector("[name=csrfmiddlewaretoken]");
  if (!box || !token) return;
  box.querySelector("summary").addEventListener("click", () => {
    const body = new URLSearchParams({ page: box.dataset.page, known: box.open ? "yes" : "no", csrfmiddlewaretoken: token.value });
    fetch(box.dataset.knownAt, { method: "POST", body, keepalive: true }).catch(() => {});
  });
});

// Paper shows every caution and every word in full.
addEventListener("beforeprint", () => { for (const box of document.querySelectorAll(".caution-folded, .words-group")) box.open = true; });

// The warnings above a page are asked for anew as long as it is open. Whoever was signed out meanwhile keeps those that
// stood there, and what was typed, and is told that the page hears nothing any more; so is whoever lost the network.
function hearsNothing(event, is) {
  if (event.detail.elt.id === "kiln-warnings") event.detail.elt.classList.toggle("warnings-deaf", is);
}
document.addEventListener("htmx:beforeOnLoad", (event) => {
  const isSignedOut = event.detail.elt.id === "kiln-warnings" && event.detail.xhr.getResponseHeader("HX-Redirect") !== null;
  if (isSignedOut) event.preventDefault();
  hearsNothing(event, isSignedOut || event.detail.xhr.status >= 400);
});
for (const fault of ["htmx:sendError", "htmx:timeout"]) document.addEventListener(fault, (event) => hearsNothing(event, true));
