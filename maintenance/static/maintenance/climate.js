"use strict";
// Reading values out of a climate chart, and looking closer. Everything works by links without it.
(() => {
  const MOVED_PX = 8;
  let chart = null;
  let column = -1;
  let begun = -1;
  let held = null;
  let aloud = 0;

  function wake() {
    const root = document.querySelector("[data-climate]");
    if (!root) { chart = null; return; }
    if (chart && chart.root === root) return;
    const data = JSON.parse(document.getElementById("climate-data").textContent);
    const form = new Intl.DateTimeFormat(document.documentElement.lang, {
      timeZone: root.dataset.zone, weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
    });
    chart = { root, data, form, axis: document.getElementById("climate-time"), keys: new Map() };
    for (const line of data.lines) {
      const key = root.querySelector(`[data-line="${line.id}"] .value`);
      if (key) chart.keys.set(line, key);
    }
    column = begun = -1;
    held = null;
  }

  const second = (at) => chart.data.from + (at + 0.5) / chart.data.columns * (chart.data.until - chart.data.from);

  // As the pages write it: Fri 20 Nov 08:27.
  function clock(at) {
    const part = Object.fromEntries(chart.form.formatToParts(new Date(second(at) * 1000)).map((one) => [one.type, one.value]));
    return `${part.weekday} ${part.day} ${part.month} ${part.hour}:${part.minute}`;
  }

  function say(line, at) {
    if (line.low[at] === null) return "–";
    const scale = 10 ** line.decimals;
    const low = line.low[at] / scale, high = (line.low[at] + line.rise[at]) / scale;
    const word = (value) => line.words[String(value)] ?? value.toFixed(line.decimals).replace("-", "−");
    const values = low === high ? word(low) : `${word(low)} … ${word(high)}`;
    return line.unit ? `${values} ${line.unit}` : values;
  }

  function put(selector, left, right) {
    for (const mark of chart.root.querySelectorAll(selector)) {
      mark.hidden = left === null;
      if (left === null) continue;
      mark.style.left = left * 100 / chart.data.columns + "%";
      if (right !== undefined) mark.style.width = (right - left) * 100 / chart.data.columns + "%";
    }
  }

  function show(at, isSpoken) {
    column = Math.min(Math.max(at, 0), chart.data.columns - 1);
    put(".cross", column + 0.5);
    chart.axis.setAttribute("aria-valuenow", column);
    chart.axis.setAttribute("aria-valuetext", clock(column));
    chart.root.querySelector("[data-read-at]").textContent = clock(column);
    for (const [line, key] of chart.keys) key.textContent = say(line, column);
    if (begun >= 0) put(".pick", Math.min(begun, column), Math.max(begun, column) + 1);
    if (!isSpoken) return;
    clearTimeout(aloud);
    aloud = setTimeout(() => {
      const said = chart.data.lines.map((line) => `${line.name} ${say(line, column)}`);
      chart.root.querySelector("[data-read-aloud]").textContent = `${clock(column)}. ${said.join("; ")}`;
    }, 400);
  }

  function letGo() {
    begun = -1;
    held = null;
    put(".pick", null);
  }

  function goTo(from, until) {
    const iso = (value) => new Date(Math.round(value) * 1000).toISOString().replace(".000", "");
    const form = chart.root.querySelector("[data-zoom]");
    const least = Math.max(600 - (until - from), 0) / 2;
    form.elements.from.value = iso(from - least);
    form.elements.until.value = iso(until + least);
    form.requestSubmit();
  }

  function lookCloser(first, last) {
    const step = (chart.data.until - chart.data.from) / chart.data.columns;
    letGo();
    goTo(chart.data.from + Math.min(first, last) * step, chart.data.from + (Math.max(first, last) + 1) * step);
  }

  function scaleAbout(factor) {
    const middle = second(column >= 0 ? column : chart.data.columns / 2);
    const from = middle - (middle - chart.data.from) * factor;
    goTo(from, from + (chart.data.until - chart.data.from) * factor);
  }

  function under(event) {
    const box = event.target.closest(".plot-box, .time-axis");
    if (!box) return null;
    wake();
    if (!chart || !chart.root.contains(box)) return null;
    const edge = box.getBoundingClientRect();
    return { box, at: Math.floor((event.clientX - edge.left) / edge.width * chart.data.columns) };
  }

  document.addEventListener("pointerdown", (event) => {
    const spot = event.button === 0 ? under(event) : null;
    if (!spot) return;
    held = { x: event.clientX, at: spot.at, id: event.pointerId, box: spot.box };
    spot.box.setPointerCapture(event.pointerId);
    show(spot.at, false);
  });

  document.addEventListener("pointermove", (event) => {
    const spot = under(event);
    if (!spot) return;
    if (held && Math.abs(event.clientX - held.x) >= MOVED_PX) begun = Math.min(Math.max(held.at, 0), chart.data.columns - 1);
    show(spot.at, false);
  });

  document.addEventListener("pointerup", (event) => {
    if (!held || held.id !== event.pointerId || !chart) return;
    const isDragged = Math.abs(event.clientX - held.x) >= MOVED_PX && begun >= 0;
    const first = begun;
    held = null;
    if (isDragged) lookCloser(first, column);
  });

  document.addEventListener("pointercancel", () => { if (chart && held) letGo(); });

  const STEPS = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1, PageDown: -60, PageUp: 60 };

  document.addEventListener("keydown", (event) => {
    if (event.target.id !== "climate-time" || event.ctrlKey || event.altKey || event.metaKey) return;
    wake();
    if (!chart) return;
    const at = column < 0 ? chart.data.columns - 1 : column;
    if (event.key in STEPS) show(at + STEPS[event.key] * (event.shiftKey ? 10 : 1), true);
    else if (event.key === "Home") show(0, true);
    else if (event.key === "End") show(chart.data.columns - 1, true);
    else if (event.key === "+") scaleAbout(0.5);
    else if (event.key === "-") scaleAbout(2);
    else if (event.key === "Escape") letGo();
    else if (event.key === "Enter" && begun >= 0) lookCloser(begun, at);
    else if (event.key === "Enter") { begun = at; show(at, true); }
    else return;
    event.preventDefault();
  });

  addEventListener("DOMContentLoaded", wake);
  document.addEventListener("htmx:afterSettle", wake);
  document.addEventListener("htmx:historyRestore", () => { placeAll(document); wake(); });
})();
