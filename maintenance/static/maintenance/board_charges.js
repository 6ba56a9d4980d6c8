"use strict";
// The board of openings: another time for a planned charge, by hand or by keys. Dropped, it leads to the page that shows
// what follows; nothing is kept before. Without this every charge leads to its own page.
(() => {
  const board = document.querySelector(".board");
  if (!board || !board.querySelector("[data-change]")) return;
  const facts = board.dataset, said = document.getElementById("board-say");
  const MINUTE = 60000, QUARTER = 15 * MINUTE, HOUR = 60 * MINUTE, STEP = Number(facts.step) * MINUTE;
  const fromMs = Date.parse(facts.from), spanMs = Number(facts.minutes) * MINUTE;
  const words = new Intl.DateTimeFormat(document.documentElement.lang, {
    weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hour12: false, timeZone: facts.zone });
  const keys = { ArrowLeft: -QUARTER, ArrowRight: QUARTER, ArrowUp: -HOUR, ArrowDown: HOUR, PageUp: -24 * HOUR, PageDown: 24 * HOUR };
  let held = null, press = null, swallows = false;

  function takeUp(el) {
    letBe();
    held = { el, left: el.style.left, label: el.textContent, first: Date.parse(el.dataset.begin), ms: Date.parse(el.dataset.begin) };
    el.classList.add("is-held");
    show();
  }

  function show() {
    const at = words.format(new Date(held.ms));
    held.el.style.left = Math.min(Math.max((held.ms - fromMs) / spanMs, 0), 1) * 100 + "%";
    held.el.textContent = held.label.trim() + " " + at;
    if (said) said.textContent = held.el.textContent;
  }

  function letBe() {
    if (!held) return;
    held.el.style.left = held.left;
    held.el.textContent = held.label;
    held.el.classList.remove("is-held");
    held = null;
  }

  function drop() {
    const { el, ms, first } = held;
    letBe();
    if (ms !== first) location.assign(el.dataset.change + "?" + new URLSearchParams({ from: new Date(ms).toISOString() }));
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const el = event.target.closest && event.target.closest("[data-change]");
    if (held && el === held.el) {
      if (event.key in keys) {
        held.ms = Math.round((held.ms + keys[event.key]) / QUARTER) * QUARTER;
        show();
      } else if (event.key === "Enter") drop();
      else if (event.key === "Escape" || event.key === "Tab") { letBe(); if (event.key === "Tab") return; }
      else return;
      event.preventDefault();
    } else if (el && event.key.toLowerCase() === "m") { event.preventDefault(); takeUp(el); }
  });

  document.addEventListener("pointerdown", (event) => {
    const el = event.target.closest && event.target.closest("[data-change]");
    if (el && !event.button) press = { el, x: event.clientX, y: event.clientY, id: event.pointerId, moved: false };
  });
  document.addEventListener("pointermove", (event) => {
    if (!press || event.pointerId !== press.id) return;
    if (!press.moved) {
      if (Math.hypot(event.clientX - press.x, event.clientY - press.y) < 5) return;
      takeUp(press.el);
      press.moved = true;
    }
    event.preventDefault();
    const track = held.el.parentElement.getBoundingClientRect();
    held.ms = Math.round((held.first + ((event.clientX - press.x) / track.width) * spanMs) / STEP) * STEP;
    show();
  });
  for (const name of ["pointerup", "pointercancel"]) {
    document.addEventListener(name, (event) => {
      if (!press || event.pointerId !== press.id) return;
      const { moved } = press;
      press = null;
      if (!moved || !held) return;
      swallows = true;
      setTimeout(() => { swallows = false; }, 0);
      if (name === "pointercancel") letBe(); else drop();
    });
  }
  // The click that ends a drag opens nothing.
  document.addEventListener("click", (event) => {
    if (swallows) { event.preventDefault(); event.stopPropagation(); }
  }, true);
})();
