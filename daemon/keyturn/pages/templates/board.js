"use strict";

// The page loads itself again, unless the reader asked it to keep still, and says when it has grown old.
const written = document.querySelector("[data-written]");
const still = document.querySelector("[data-still]");
const stale = document.querySelector("[data-stale]");
const refreshS = Number(document.body.dataset.refresh), staleS = Number(document.body.dataset.staleAfter);
const STILL = "#still"; // kept in the address, so that it outlives a reload by hand

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

still.checked = location.hash === STILL;
still.parentElement.hidden = false;
still.addEventListener("change", function () {
  history.replaceState(null, "", still.checked ? STILL : location.pathname);
});
look();
setInterval(look, 5000);
setInterval(function () { if (!still.checked) location.reload(); }, refreshS * 1000);
