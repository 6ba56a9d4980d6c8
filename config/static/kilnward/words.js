"use strict";
// The first use of a word that a newcomer may not know leads to its meaning: once a page, in running text and heads
// alone. Never inside forms, where a stray tap would take somebody away from what was typed.
const SKIPPED = "a, button, summary, label, form, nav, h1, h2, h3, svg, code, dfn, .page-head, .tag, .any-word, .hidden-word, .board, .note, .caution, [data-rests]";
const READ = "p, th, dt, dd, li";
// In a grid or a row of boxes a word cut out of its sentence would become a box of its own.
const FLOWS = ["block", "inline", "list-item", "table-cell"];

function linkFirstUse(nodes, [term, anchor, meaning], page) {
  const escaped = term.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
  // An abbreviation is meant only as it is written.
  const use = new RegExp(`(?<![\\p{L}\\p{N}-])${escaped}s?(?![\\p{L}\\p{N}-])`, term === term.toUpperCase() ? "u" : "iu");
  for (const node of nodes) {
    const found = use.exec(node.data);
    if (!found) continue;
    const word = node.splitText(found.index);
    const rest = word.splitText(found[0].length);
    const link = document.createElement("a");
    link.className = "word-link";
    link.href = `${page}#${anchor}`;
    link.title = meaning;
    word.replaceWith(link);
    link.append(word);
    nodes.splice(nodes.indexOf(node) + 1, 0, rest);
    return;
  }
}

document.addEventListener("DOMContentLoaded", async () => {
  const { words, wordsPage } = document.body.dataset;
  const content = document.getElementById("content");
  if (!words || !content || location.pathname === wordsPage) return;
  const answer = await fetch(words, { credentials: "same-origin" }).catch(() => null);
  if (!answer || !answer.ok || !(answer.headers.get("Content-Type") || "").includes("json")) return;
  const walker = document.createTreeWalker(content, NodeFilter.SHOW_TEXT);
  const nodes = [];
  while (walker.nextNode()) {
    const parent = walker.currentNode.parentElement;
    const isRead = parent.closest(READ) && !parent.closest(SKIPPED);
    if (isRead && FLOWS.includes(getComputedStyle(parent).display)) nodes.push(walker.currentNode);
  }
  // Longer words first: “wet-bulb depression” is not “wet bulb”.
  const found = (await answer.json()).words.sort((one, other) => other[0].length - one[0].length);
  for (const word of found) linkFirstUse(nodes, word, wordsPage);
});
