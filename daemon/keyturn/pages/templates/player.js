"use strict";

// -- the radio, computed: whole nanoseconds, as the radio counts, so that no frame is off by rounding ----

const SECOND = 1e9;
const LOGO_S = 2; // how long the logo stands here before frame 1; a radio takes its own time
const HOME_S = 1.5; // how long the home screen is shown at the end
const WORDS = JSON.parse(document.getElementById("player-words").textContent);

function ns(seconds) {
  return Math.round(seconds * SECOND);
}

function ceilDiv(a, b) {
  return (a - (a % b)) / b + (a % b > 0 ? 1 : 0);
}

/* The player's times in nanoseconds. A frame's beat is the time until the next frame's work starts, and work its part
 * until the frame appears; a part's first play also decodes. ahead is the first frame's work: time counts from its
 * appearance, but the player's clock from the start of its work. */
function rhythmOf(schedule) {
  const first = ns(schedule.interval_s);
  return {
    beats: [first, ns(schedule.later_interval_s ?? schedule.interval_s)],
    works: [ns(schedule.work_s ?? 0), ns(schedule.later_work_s ?? 0)],
    check: ns(schedule.pause_check_s ?? 0),
    killed: Boolean(schedule.killed),
    ahead: ns(schedule.work_s ?? 0),
  };
}

/* Calls visit({part, play, frames, start, beat, work, framesEnd, end}) for every play that is shown, in order, until it
 * returns true. The player looks at the end of each frame's beat whether the radio has booted; a part of type p or f
 * stops there, one of type c goes on. The pause follows every play, whole or cut short; where the player looks during
 * pauses too (check), it breaks them off and skips later ones. A player that is killed looks at nothing. */
function walk(schedule, boot, visit) {
  const rhythm = rhythmOf(schedule), over = ns(boot) + rhythm.ahead;
  let clock = 0, booted = false;
  for (let index = 0; index < schedule.parts.length; index++) {
    const part = schedule.parts[index], whole = part.order.length, pause = ns(part.pause_s);
    for (let play = 0; part.count === 0 ? play === 0 || !booted : play < part.count; play++) {
      if (booted && part.type !== "c") break;
      if (rhythm.killed && clock >= over) return;
      const beat = rhythm.beats[play > 0 ? 1 : 0], work = rhythm.works[play > 0 ? 1 : 0];
      let frames = whole;
      if (!booted && !rhythm.killed) {
        const seen = Math.max(1, ceilDiv(over - clock, beat));
        booted = seen <= whole;
        if (booted && part.type !== "c") frames = seen;
      }
      const framesEnd = clock + frames * beat;
      let rest = rhythm.check && booted ? 0 : pause;
      if (rhythm.check && !booted) {
        const steps = Math.max(1, ceilDiv(over - framesEnd, rhythm.check));
        if (steps * rhythm.check < pause) {
          rest = steps * rhythm.check;
          booted = true;
        }
      }
      if (visit({ part: index, play, frames, start: clock, beat, work, framesEnd, end: framesEnd + rest })) return;
      clock = framesEnd + rest;
    }
  }
}

/* What stands on the screen t seconds after the first frame, in a start that takes `boot` seconds:
 * {part, play, frame, picture, pausing}, all counted from 0; null before the first frame and after the end. */
function shownAt(schedule, t, boot) {
  return shownAtNs(schedule, ns(t), boot);
}

function shownAtNs(schedule, moment, boot) {
  if (moment < 0 || moment >= endOfNs(schedule, boot)) return null;
  const at = moment + rhythmOf(schedule).ahead;
  let found = null;
  walk(schedule, boot, function (run) {
    const into = at - run.start - run.work;
    if (into < 0) return true;
    const frame = Math.min((into - (into % run.beat)) / run.beat, run.frames - 1);
    const pausing = frame === run.frames - 1 && run.end > run.framesEnd && at >= run.framesEnd;
    found = { part: run.part, play: run.play, frame, picture: schedule.parts[run.part].order[frame], pausing };
    return false;
  });
  return found;
}

/* Seconds from the first frame until the radio takes the screen back. */
function endOf(schedule, boot) {
  return endOfNs(schedule, boot) / SECOND;
}

function endOfNs(schedule, boot) {
  const rhythm = rhythmOf(schedule);
  let last = 0;
  walk(schedule, boot, function (run) {
    last = run.end - rhythm.ahead;
    return false;
  });
  return rhythm.killed ? Math.min(last, ns(boot)) : last;
}

/* A sentence of the page's language, with its values. */
function say(name, values) {
  return WORDS[name].replace(/%\((\w+)\)s/g, (_, value) => values[value]);
}

/* A number with one decimal, written as the page's language does. */
function figure(number) {
  return number.toFixed(1).replace(".", WORDS.point);
}

/* The picture's number among those of all parts: the customer knows of no parts. */
function counted(schedule, seen) {
  const lengths = schedule.parts.map((part) => part.order.length), sum = (a, b) => a + b;
  return { frame: lengths.slice(0, seen.part).reduce(sum, 0) + seen.frame + 1, frames: lengths.reduce(sum, 0) };
}

/* What is on the screen when the boot ends, in words. */
function describe(schedule, boot) {
  const end = endOfNs(schedule, boot), at = Math.min(ns(boot), end - 1);
  const seen = shownAtNs(schedule, at, boot), part = schedule.parts[seen.part];
  const length = part.order.length;
  const last = seen.play === part.count - 1 && seen.frame === length - 1;
  const where = say("where", counted(schedule, seen));
  const told = (sentence, more) => say(sentence, { start: figure(boot), where, ...more });
  if (ns(boot) > end) return told("all_played", { end: figure(end / SECOND) });
  if (part.type === "c" && end > ns(boot)) return told("plays_on", { late: figure((end - ns(boot)) / SECOND) });
  if (part.count !== 0 && !last) {
    return part.count > 1 ? told("cut_in_play", { play: seen.play + 1, plays: part.count }) : told("cut");
  }
  return told(length > 1 && part.count === 0 ? "repeating" : "standing");
}

// -- the player on the page --------------------------------------------------------------------------

/* The pictures by number: {image, base, left, top}. The large ones where the sheet carries them, else the strip's. */
function picturesOf(root) {
  const found = new Map();
  for (const name of [root.dataset.pictures, root.dataset.large]) {
    document.querySelectorAll("#" + name + " image").forEach(function (source, place) {
      const image = new Image(), data = source.dataset;
      image.src = source.getAttribute("href");
      const base = data.base === undefined ? null : Number(data.base);
      found.set(Number(data.number ?? place), { image, base, left: Number(data.left ?? 0), top: Number(data.top ?? 0) });
    });
  }
  return found;
}

function isLoaded(picture) {
  return picture.image.complete && picture.image.naturalWidth > 0;
}

function setUpPlayer(root) {
  const schedule = JSON.parse(root.querySelector(".schedule").textContent);
  const find = (name) => root.querySelector("[data-" + name + "]");
  const canvas = find("canvas"), brush = canvas.getContext("2d"), home = find("home");
  const play = find("play"), moment = find("moment"), boot = find("boot");
  const pictures = picturesOf(root), store = document.getElementById(root.dataset.large);
  let drawn = -1, running = null;

  /* The screen is as large as the page and the window's height allow, and keeps its shape when pictures change. */
  const shape = canvas.width / canvas.height;
  canvas.style.aspectRatio = String(shape);
  find("screen").style.width = "calc(min(44rem, 74vh) * " + shape.toFixed(4) + " + 1.4rem)";

  function bootS() { return Number(boot.value); }
  function lastS() { return endOf(schedule, bootS()) + HOME_S; }

  function draw(t) {
    const seen = shownAt(schedule, t, bootS());
    const picture = seen ? seen.picture : schedule.logo;
    home.hidden = t < 0 || seen !== null;
    if (picture !== drawn && paint(picture)) canvas.dataset.picture = drawn = picture;
    find("now").textContent = words(t, seen);
    moment.setAttribute("aria-valuetext", words(t, seen));
  }

  /* A whole picture gives the canvas its size; a box lies on its base, in the size of moving pictures. */
  function paint(number) {
    const picture = pictures.get(number);
    if (!isLoaded(picture)) return false;
    if (picture.base === null) {
      fit(picture.image.naturalWidth, picture.image.naturalHeight);
      brush.drawImage(picture.image, 0, 0);
      return true;
    }
    fit(Number(store.dataset.width), Number(store.dataset.height));
    return paintBox(picture);
  }

  function paintBox(picture) {
    const base = pictures.get(picture.base);
    if (!isLoaded(base) || !isLoaded(picture)) return false;
    if (base.base !== null && !paintBox(base)) return false;
    if (base.base === null) brush.drawImage(base.image, 0, 0, canvas.width, canvas.height);
    brush.drawImage(picture.image, picture.left, picture.top);
    return true;
  }

  function fit(width, height) {
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
  }

  function words(t, seen) {
    if (t < 0) return say("logo");
    if (!seen) return say("home", { time: figure(t) });
    return say(seen.pausing ? "resting" : "frame", { time: figure(t), ...counted(schedule, seen) });
  }

  function show(t) {
    moment.value = t;
    draw(t);
  }

  function stop() {
    if (running !== null) cancelAnimationFrame(running.id);
    running = null;
    play.textContent = say(Number(moment.value) >= lastS() - 0.01 ? "again" : "play");
  }

  function start() {
    const from = Number(moment.value) >= lastS() - 0.01 ? -LOGO_S : Number(moment.value);
    running = { id: 0, began: performance.now() - from * 1000 };
    play.textContent = say("pause");
    tick(performance.now());
  }

  function tick(now) {
    if (running === null) return;
    const t = Math.max(-LOGO_S, (now - running.began) / 1000);
    show(Math.min(t, lastS()));
    if (t >= lastS()) stop();
    else running.id = requestAnimationFrame(tick);
  }

  function bootChanged() {
    find("boot-now").textContent = say("seconds", { time: figure(bootS()) });
    boot.setAttribute("aria-valuetext", find("boot-now").textContent);
    find("caption").textContent = describe(schedule, bootS());
    moment.max = lastS();
    root.querySelectorAll("[data-seconds]").forEach(function (button) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.seconds) === bootS()));
    });
  }

  /* While it stands still, dragging the start-up time shows the last that is seen before the cut. */
  function dragged() {
    bootChanged();
    if (running === null) show(Math.max(0, Math.min(bootS(), endOf(schedule, bootS())) - 0.001));
  }

  play.addEventListener("click", function () { if (running === null) start(); else stop(); });
  moment.addEventListener("input", function () { stop(); draw(Number(moment.value)); });
  boot.addEventListener("input", dragged);
  root.querySelectorAll("[data-seconds]").forEach(function (button) {
    button.addEventListener("click", function () { boot.value = button.dataset.seconds; dragged(); });
  });
  pictures.forEach(function (picture) {
    picture.image.addEventListener("load", function () { if (running === null) draw(Number(moment.value)); });
  });
  moment.min = -LOGO_S;
  bootChanged();
  show(-LOGO_S);
  root.hidden = false;
}

document.querySelectorAll(".player").forEach(setUpPlayer);

/* Paper has no folds: the workshop's pages are printed after the customer's. */
window.addEventListener("beforeprint", function () {
  document.querySelectorAll("details.workshop").forEach(function (part) { part.open = true; });
});
document.querySelectorAll("[data-print]").forEach(function (button) {
  button.hidden = false;
  button.addEventListener("click", function () { window.print(); });
});
