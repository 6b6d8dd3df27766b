"use strict";

// The page loads itself again, unless the reader asked it to keep still, and says when it has grown old.
const written = document.querySelector("[data-written]");
const still = document.querySelector("[data-still]");
const stale = document.querySelector("[data-stale]");
const find = document.querySelector("[data-find]");
const refreshS = Number(document.body.dataset.refresh), staleS = Number(document.body.dataset.staleAfter);
const BUSY_MS = 6000; // a reader who types or chooses is not disturbed for so long
const FIELDS = ["q", "place", "customer", "radio"];
let touched = 0;

function ageS(now) {
  return (now - Date.parse(written.dateTime)) / 1000;
}

function inWords(seconds) {
  if (seconds < 2 * 3600) return Math.floor(seconds / 60) + " minutes";
  if (seconds < 48 * 3600) return Math.floor(seconds / 3600) + " hours";
  return Math.floor(seconds / 86400) + " days";
}

function look() {
  const age = ageS(Date.now());
  if (age > staleS) stale.querySelector("span").textContent = inWords(age);
  stale.hidden = !(age > staleS);
}

// What is asked for stands in the address, so that it outlives a reload; where the cursor is, in the history's state.
function fields() {
  return find ? FIELDS.map(function (name) { return find.elements[name]; }).filter(Boolean) : [];
}

function remember() {
  const words = still.checked ? ["still"] : [];
  for (const field of fields()) if (field.value) words.push(field.name + "=" + encodeURIComponent(field.value));
  const at = find && find.contains(document.activeElement) ? document.activeElement : null;
  const cursor = at && { name: at.name, start: at.name === "q" ? at.selectionStart : 0 };
  const state = { cursor: cursor, row: rowInSight() };
  history.scrollRestoration = state.row ? "manual" : "auto";
  history.replaceState(state, "", words.length ? "#" + words.join("&") : location.pathname + location.search);
}

// Rows that were never in sight have no height yet, so the place of a row is kept, not that of the page.
function rowInSight() {
  if (!scrollY) return null;
  const at = document.elementFromPoint(innerWidth / 2, innerHeight / 3);
  const row = at && at.closest("[data-rows] > *"), card = row && row.querySelector("a");
  return card ? { card: card.getAttribute("href"), top: row.getBoundingClientRect().top } : null;
}

function scrollBack(kept) {
  const card = Array.from(document.querySelectorAll("[data-rows] a")).find(function (link) {
    return link.getAttribute("href") === kept.card;
  });
  const row = card && card.closest("[data-rows] > *");
  if (row && row.getClientRects().length) scrollBy(0, row.getBoundingClientRect().top - kept.top);
}

function restore() {
  const asked = new URLSearchParams(location.hash.slice(1));
  still.checked = asked.has("still");
  for (const field of fields()) {
    const value = asked.get(field.name) || "";
    if (field.options && value && !Array.from(field.options).some(function (o) { return o.value === value; }))
      field.add(new Option(value, value)); // nothing is left of what was chosen: say so rather than show all
    field.value = value;
  }
  const cursor = history.state && history.state.cursor, at = cursor && find && find.elements[cursor.name];
  if (!at) return;
  at.focus({ preventScroll: true });
  if (at.name === "q") at.setSelectionRange(cursor.start, cursor.start);
}

// -- search and filters ------------------------------------------------------------------------------

function plain(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

function texts(row, where) {
  return Array.from(row.querySelectorAll(where), function (cell) { return cell.textContent; });
}

// A list has the rows of a panel; those of a fleet stand together below its name, by which they are found too.
function fleetOf(row) {
  const at = row.closest("[data-rows]"), before = at.previousElementSibling;
  return at.closest("section[data-fleet]") || (before && before.matches("tbody[data-fleet]") ? before : null);
}

const lists = find ? Array.from(document.querySelectorAll(".panel:has([data-rows])"), function (section) {
  const rows = Array.from(section.querySelectorAll("[data-rows] > *"), function (row) {
    return { row: row, text: "", customer: texts(row, ".c")[0], radios: texts(row, ".r bdi"), fleet: fleetOf(row) };
  });
  const count = section.querySelector(".count");
  return { section: section, rows: rows, count: count, total: count.textContent, place: section.dataset.place };
}) : [];

function fill(select, values) {
  const order = new Intl.Collator(undefined, { numeric: true }).compare;
  for (const value of Array.from(new Set(values)).sort(order)) select.add(new Option(value, value));
}

function sift() {
  const value = function (name) { return find.elements[name] ? find.elements[name].value : ""; };
  const words = plain(value("q")).split(/\s+/).filter(Boolean);
  const place = value("place"), customer = value("customer"), radio = value("radio");
  const all = !words.length && !place && !customer && !radio;
  let found = 0;
  for (const list of lists) {
    let shown = 0;
    const fleets = new Map();
    for (const entry of list.rows) {
      if (words.length && !entry.text)
        entry.text = plain(entry.row.textContent + " " + (entry.fleet ? texts(entry.fleet, "[data-drop]")[0] : ""));
      const fits = (!place || place === list.place) && (!customer || customer === entry.customer) &&
        (!radio || entry.radios.includes(radio)) &&
        words.every(function (word) { return entry.text.includes(word); });
      if (entry.row.hidden === fits) entry.row.hidden = !fits;
      shown += fits ? 1 : 0;
      if (entry.fleet) fleets.set(entry.fleet, (fleets.get(entry.fleet) || false) || fits);
    }
    for (const [fleet, some] of fleets) fleet.hidden = !some;
    list.section.hidden = !all && !shown;
    list.count.textContent = all ? list.total : shown + " of " + list.total;
    found += shown;
  }
  find.querySelector("[data-found]").textContent = all ? "" : found === 1 ? "1 job fits." : found + " jobs fit.";
}

if (find) {
  const rows = lists.flatMap(function (list) { return list.rows; });
  fill(find.elements.customer, rows.map(function (entry) { return entry.customer; }));
  fill(find.elements.radio, rows.flatMap(function (entry) { return entry.radios; }));
  find.hidden = false;
  restore();
  sift();
  find.addEventListener("submit", function (event) { event.preventDefault(); });
  for (const name of ["input", "change"])
    find.addEventListener(name, function () { sift(); remember(); });
  for (const name of ["input", "keydown", "pointerdown", "focusin"])
    find.addEventListener(name, function () { touched = Date.now(); });
  for (const name of ["focusin", "focusout", "keyup"])
    find.addEventListener(name, function () { setTimeout(remember); });
} else {
  restore();
}
if (history.state && history.state.row) scrollBack(history.state.row);
still.parentElement.hidden = false;
still.addEventListener("change", remember);
look();
setInterval(look, 5000);
setInterval(function () {
  if (still.checked || Date.now() - touched <= BUSY_MS) return;
  remember();
  location.reload();
}, refreshS * 1000);
