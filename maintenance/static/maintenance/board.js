"use strict";
// The board of openings: find kilns and jobs, and try another place for a job by hand or by keys.
// Without this the board still shows everything, and every job leads to a page on which it can be placed.
(() => {
  const boards = [...document.querySelectorAll(".board")];
  if (!boards.length) return;
  const board = boards[0], facts = board.dataset;
  const panel = document.getElementById("board-panel"), said = document.getElementById("board-say");
  const MINUTE = 60000, STEP = Number(facts.step) * MINUTE, WAIT = 150;
  const fromMs = Date.parse(facts.from), spanMs = Number(facts.minutes) * MINUTE;
  const words = new Intl.DateTimeFormat(document.documentElement.lang, {
    weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hour12: false, timeZone: facts.zone });

  for (const el of document.querySelectorAll("[data-lane],[data-lanes]")) {
    if (el.dataset.lane) el.style.setProperty("--lane", el.dataset.lane);
    if (el.dataset.lanes) el.style.setProperty("--lanes", el.dataset.lanes);
  }
  // What is said to all in hidden words is shown to the hand that rests upon it.
  document.addEventListener("pointerover", (event) => {
    const piece = event.target.closest && event.target.closest(".gap,.job,.run-job");
    const hidden = piece && !piece.title && piece.querySelector(".hidden-word");
    if (hidden) piece.title = hidden.textContent;
  });

  const speak = (text) => { if (said) said.textContent = text; };
  const isPlain = (event) => !(event.ctrlKey || event.metaKey || event.shiftKey || event.altKey || event.button);

  // --- find --------------------------------------------------------------------------------------
  const input = document.getElementById("find"), count = document.getElementById("find-said");
  let index = null, hits = [], hitAt = -1;

  function buildIndex() {
    const rows = boards.flatMap((one) => [...one.querySelectorAll(".kiln-row")]).map((row) => ({
      row, tag: row.dataset.kiln.toLowerCase(),
      pieces: [...row.querySelectorAll("[data-find]")].map((el) => ({ el, jobs: el.dataset.find.split("|") })) }));
    return { rows, waiting: [...document.querySelectorAll(".waits[data-find]")].map((el) => ({ el, text: el.dataset.find })) };
  }

  function find(text) {
    index = index || buildIndex();
    const wanted = text.toLowerCase().split(/\s+/).filter(Boolean);
    hits = [];
    hitAt = -1;
    let kilns = 0;
    for (const { row, tag, pieces } of index.rows) {
      const isKiln = wanted.length > 0 && wanted.every((word) => tag === word || (wanted.length === 1 && tag.startsWith(word)));
      let some = false;
      for (const { el, jobs } of pieces) {
        const fits = wanted.length > 0 && !isKiln && jobs.some((job) => wanted.every((word) => tag === word || job.includes(word)));
        el.classList.toggle("is-found", fits);
        if (fits) { hits.push(el); some = true; }
      }
      row.hidden = wanted.length > 0 && !isKiln && !some;
      if (isKiln) hits.push(row.querySelector(".board-kiln"));
      if (wanted.length && !row.hidden) kilns += 1;
    }
    let waiting = 0;
    for (const { el, text: own } of index.waiting) {
      el.hidden = wanted.length > 0 && !wanted.every((word) => own.includes(word));
      if (wanted.length && !el.hidden) { waiting += 1; hits.push(el.querySelector("a")); }
    }
    if (!count) return;
    const { some, none, kilns: kilnWord, jobs } = count.dataset;
    count.textContent = !wanted.length ? "" : hits.length ? `${some}${hits.length} ${jobs}, ${kilns} ${kilnWord}.` : none;
  }

  function goToHit() {
    hitAt = (hitAt + 1) % hits.length;
    hits[hitAt].scrollIntoView({ block: "center" });
    hits[hitAt].focus({ preventScroll: true });
  }

  if (input) {
    let pause = 0;
    input.addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(() => find(input.value), 80); });
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      find(input.value);
      if (hits.length && input.value.trim()) { event.preventDefault(); goToHit(); }
    });
    if (input.value) find(input.value);
  }

  // --- an opening, shown below the board ---------------------------------------------------------
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.gap, a.run-job:not(.any)");
    if (!link || !isPlain(event) || !document.getElementById("opening")) return;
    event.preventDefault();
    htmx.ajax("GET", link.getAttribute("href"), { target: "#opening", swap: "innerHTML show:top" }).then(() => {
      const head = document.querySelector("#opening h2");
      if (head) { head.tabIndex = -1; head.focus({ preventScroll: true }); }
    });
  });
  if (!panel) return;

  // --- another place for a job -------------------------------------------------------------------
  // What is held: its block on the track, where it was, where it is tried, and whether hand or keys hold it.
  let held = null, asking = null, timer = 0;

  const leftOf = (ms) => Math.min(Math.max((ms - fromMs) / spanMs, 0), 1) * 100;
  const snapped = (ms) => fromMs + Math.round((ms - fromMs) / STEP) * STEP;

  function takeUp(el, by) {
    if (held) letBe(false);
    const row = document.getElementById("row-" + el.dataset.kiln);
    const track = row && row.querySelector(".track");
    if (!track) return false;
    row.hidden = false;
    let block = el, was = null;
    const isChip = el.classList.contains("chip");
    if (isChip) {
      block = document.createElement("span");
      block.className = "job";
      block.innerHTML = '<span class="job-label" aria-hidden="true"></span>';
      block.firstChild.textContent = el.dataset.job;
      block.style.width = (Number(el.dataset.lasts) * MINUTE / spanMs) * 100 + "%";
      track.append(block);
      row.scrollIntoView({ block: "nearest" });
    } else {
      was = el.cloneNode(true);
      for (const name of ["data-moves", "data-job", "href", "data-find"]) was.removeAttribute(name);
      was.setAttribute("aria-hidden", "true");
      was.classList.add("was");
      track.append(was);
    }
    const begins = el.dataset.start ? Date.parse(el.dataset.start) : snapped(Math.max(fromMs, Math.min(Date.now(), fromMs + spanMs)));
    held = { el, block, was, row, track, by, isChip, job: el.dataset.job, ms: begins, first: begins };
    row.classList.add("is-target");
    block.classList.add("is-held");
    document.documentElement.classList.add("has-panel");
    show();
    return true;
  }

  function show() {
    held.block.style.left = leftOf(held.ms) + "%";
    held.block.dataset.at = words.format(new Date(held.ms));
  }

  function letBe(refocus = true) {
    clearTimeout(timer);
    if (asking) asking.abort();
    panel.hidden = true;
    document.documentElement.classList.remove("has-panel");
    if (!held) return;
    const { el, block, was, row, isChip, first } = held;
    row.classList.remove("is-target");
    block.classList.remove("is-held", "fits", "breaks");
    delete block.dataset.at;
    if (was) was.remove();
    if (isChip) block.remove();
    else block.style.left = leftOf(first) + "%";
    held = null;
    if (refocus) el.focus();
  }

  // Ask the server; the last question counts.
  async function ask(query, focus) {
    if (asking) asking.abort();
    const own = asking = new AbortController();
    if (facts.plan) query.set("plan", facts.plan);
    let answer;
    try {
      const response = await fetch(facts.verdict + "?" + query, { signal: own.signal, headers: { "X-Requested-With": "fetch" } });
      // Whoever was signed out meanwhile signs in again.
      if (response.redirected) { location.reload(); return; }
      if (!response.ok) { speak(facts.failed); return; }
      answer = await response.text();
    } catch (error) {
      if (error.name !== "AbortError") speak(error.message);
      return;
    }
    panel.innerHTML = answer;
    panel.hidden = false;
    document.documentElement.classList.add("has-panel");
    for (const field of panel.querySelectorAll("input[name=days]")) field.value = facts.days;
    for (const field of panel.querySelectorAll("input[name=from]")) field.value = facts.first;
    htmx.process(panel);
    hear();
    if (focus) whereTo(focus).focus();
  }

  // Where it fits the next key places the job; otherwise the panel is read from its head.
  function whereTo(focus) {
    const fits = panel.querySelector('[data-fits="yes"]');
    const wanted = focus === "place" ? fits && panel.querySelector("button[type=submit]") : panel.querySelector(focus);
    return wanted || panel.querySelector("h2");
  }

  // Say the verdict aloud and mark the block by it.
  function hear() {
    const verdict = panel.querySelector("[data-say]");
    if (!verdict) return;
    const faults = [...panel.querySelectorAll(".faults li")].map((one) => one.textContent);
    speak([verdict.textContent, ...faults].join(" "));
    if (!held) return;
    held.block.classList.toggle("fits", verdict.dataset.fits === "yes");
    held.block.classList.toggle("breaks", verdict.dataset.fits === "no");
    if (verdict.dataset.start && held.by !== "hand" && held.by !== "keys") { held.ms = Date.parse(verdict.dataset.start); show(); }
  }

  const questionOf = (job, ms) => new URLSearchParams({ job, start: new Date(ms).toISOString().slice(0, 19) + "Z" });

  function askSoon() {
    clearTimeout(timer);
    timer = setTimeout(() => held && ask(questionOf(held.job, held.ms)), WAIT);
  }

  function drop(focus) {
    clearTimeout(timer);
    held.by = "";
    ask(questionOf(held.job, held.ms), focus);
  }

  function open(el) {
    if (!takeUp(el, "")) return;
    ask(questionOf(held.job, held.ms), "h2");
  }

  // With many kilns the first answer takes the server longest: it is asked for as soon as a hand comes near a job.
  let isWarm = board.querySelectorAll(".kiln-row").length < 30;
  for (const name of ["pointerover", "focusin"]) {
    document.addEventListener(name, (event) => {
      const el = !isWarm && event.target.closest && event.target.closest("[data-moves]");
      if (!el) return;
      isWarm = true;
      const query = questionOf(el.dataset.job, el.dataset.start ? Date.parse(el.dataset.start) : fromMs);
      if (facts.plan) query.set("plan", facts.plan);
      fetch(facts.verdict + "?" + query).catch(() => { isWarm = false; });
    });
  }

  // By hand. On a screen that is touched, up and down still scrolls.
  let press = null, swallows = false;
  document.addEventListener("click", (event) => {
    // The click that ends a drag opens nothing.
    if (swallows) { event.preventDefault(); event.stopPropagation(); }
  }, true);
  document.addEventListener("pointerdown", (event) => {
    const el = event.target.closest(".job[data-moves], .chip[data-moves], .job.is-held");
    if (!el || event.button) return;
    press = { el: held && held.block === el ? held.el : el, x: event.clientX, y: event.clientY, id: event.pointerId, moved: false };
  });
  document.addEventListener("pointermove", (event) => {
    if (!press || event.pointerId !== press.id) return;
    if (!press.moved) {
      if (Math.hypot(event.clientX - press.x, event.clientY - press.y) < 5) return;
      const before = held && held.el === press.el ? held.ms : null;
      if (before === null ? !takeUp(press.el, "hand") : false) { press = null; return; }
      held.by = "hand";
      press.moved = true;
      const box = held.track.getBoundingClientRect();
      press.offset = held.isChip && before === null ? 0 : press.x - (box.left + box.width * leftOf(held.ms) / 100);
      try { document.documentElement.setPointerCapture(event.pointerId); } catch { /* The hand let go already. */ }
    }
    event.preventDefault();
    const box = held.track.getBoundingClientRect();
    const ms = snapped(fromMs + Math.min(Math.max((event.clientX - press.offset - box.left) / box.width, 0), 1) * spanMs);
    if (ms !== held.ms) { held.ms = ms; show(); askSoon(); }
  });
  // The browser must not drag the links themselves, nor the opening that lies below a job.
  document.addEventListener("dragstart", (event) => {
    if (event.target.closest && event.target.closest(".board, .chip")) event.preventDefault();
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

  // By keys.
  const HOUR = 60 * MINUTE, QUARTER = 15 * MINUTE;
  const moves = { ArrowLeft: -QUARTER, ArrowRight: QUARTER, ArrowUp: -HOUR, ArrowDown: HOUR, PageUp: -24 * HOUR, PageDown: 24 * HOUR };
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && (held || !panel.hidden)) { event.preventDefault(); letBe(); return; }
    const el = event.target.closest && event.target.closest("[data-moves]");
    if (held && held.by === "keys" && el === held.el) {
      if (event.key in moves) {
        event.preventDefault();
        // Whatever minute it began at, it moves from quarter to quarter.
        held.ms = Math.round((held.ms + moves[event.key]) / QUARTER) * QUARTER;
        show();
        askSoon();
      } else if (event.key === "Enter") {
        event.preventDefault();
        drop("place");
      } else if (event.key === "Tab") letBe(false);
      return;
    }
    if (el && event.key.toLowerCase() === "m" && isPlain(event)) { event.preventDefault(); byKeys(el); }
  });

  function byKeys(el) {
    if (!takeUp(el, "keys")) return;
    held.row.scrollIntoView({ block: "nearest" });
    el.focus();
    speak(held.job + ", " + words.format(new Date(held.ms)) + ". " + (document.getElementById("board-keys") || { textContent: "" }).textContent);
    askSoon();
  }

  document.addEventListener("click", (event) => {
    const el = event.target.closest(".job[data-job], .chip[data-moves]");
    if (el && isPlain(event)) { event.preventDefault(); open(el); return; }
    const button = event.target.closest("#board-panel button");
    if (!button) return;
    const { take, letBe: lets, ask: asks } = button.dataset;
    if (lets !== undefined) letBe();
    else if (button.dataset.try) {
      if (held) { held.by = ""; held.ms = Date.parse(button.dataset.try); show(); }
      ask(new URLSearchParams({ job: jobOfPanel(), start: button.dataset.try }), "place");
    } else if (asks !== undefined) {
      const query = new URLSearchParams({ job: jobOfPanel(), start: panel.querySelector("input[name=start]").value });
      for (const box of panel.querySelectorAll("input[name=people]:checked")) query.append("people", box.value);
      ask(query, "[data-ask]");
    } else if (take) {
      const found = held ? held.el : document.querySelector(`[data-moves][data-job="${CSS.escape(take)}"]`);
      if (!found) return;
      const ms = held ? held.ms : null;
      const isSame = held && held.el === found;
      if (isSame) { held.by = "keys"; found.focus(); speak(words.format(new Date(ms))); } else byKeys(found);
    }
  });
  const jobOfPanel = () => panel.querySelector("[data-take],[data-job]")?.dataset.take || (held ? held.job : "");

  // A refusal comes back into the panel.
  document.addEventListener("htmx:afterSwap", (event) => {
    if (event.target !== panel) return;
    for (const field of panel.querySelectorAll("input[name=days]")) field.value = facts.days;
    for (const field of panel.querySelectorAll("input[name=from]")) field.value = facts.first;
    hear();
    const head = panel.querySelector("h2");
    if (head) head.focus();
  });

  // What was just placed, or looked for, is shown; once the browser has gone to the row that the address names.
  function showMarked() {
    const own = document.querySelector(`[data-job="${CSS.escape(facts.mark)}"]`);
    const marked = own || [...document.querySelectorAll("[data-find]")].find((el) => el.dataset.find.includes(facts.mark.toLowerCase()));
    if (marked) {
      marked.classList.add("is-found");
      marked.scrollIntoView({ block: "center" });
      marked.focus({ preventScroll: true });
    }
    const told = document.querySelector("#messages .note");
    if (told) speak(told.textContent);
  }
  if (facts.mark) addEventListener("load", () => setTimeout(showMarked, 0));
})();
