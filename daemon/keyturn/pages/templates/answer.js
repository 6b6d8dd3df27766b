// -- the customer's answer ---------------------------------------------------------------------------

/* A slip as one line: base64url (RFC 4648, section 5) of JSON in UTF-8. */
function slipLine(slip) {
  const bytes = Array.from(new TextEncoder().encode(JSON.stringify(slip)), (byte) => String.fromCharCode(byte)).join("");
  return "[keyturn-slip:" + btoa(bytes).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "") + "]";
}

/* What somebody wrote into a field. Half a surrogate pair is no text (RFC 3629, section 3). */
function written(field) {
  return field.value.trim().replace(/[\ud800-\udfff]/gu, "\ufffd");
}

function randomId() {
  return Array.from(crypto.getRandomValues(new Uint8Array(12)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/* The first of the mails that a link can hold (RFC 6068), and whether it is the last of them. */
function mailLink(to, subject, bodies, longest) {
  const quoted = (text) => encodeURIComponent(text.replace(/\r?\n/g, "\r\n"));
  const links = bodies.map((body) => to + "?subject=" + quoted(subject) + "&body=" + quoted(body));
  const short = links.findIndex((link) => link.length <= longest);
  const bare = short < 0 ? to : links[short];
  return { link: bare, cut: short < 0 || short === links.length - 1 };
}

/* Marks on the players' pictures, numbered in their order: {radio, x, y, picture}. */
function setUpMarks(table, toggle, words) {
  const marks = [], layers = [];

  function redraw() {
    for (const layer of layers) layer.box.querySelectorAll("button").forEach((old) => old.remove());
    marks.forEach(function (mark, place) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = String(place + 1);
      button.setAttribute("aria-label", words.mark.replace("{number}", String(place + 1)));
      button.style.left = 100 * mark.x + "%";
      button.style.top = 100 * mark.y + "%";
      button.addEventListener("click", function (event) {
        event.stopPropagation();
        marks.splice(marks.indexOf(mark), 1);
        redraw();
        mark.box.focus();
      });
      mark.box.append(button);
    });
  }

  function put(layer, x, y) {
    if (marks.length >= 20) return;
    const share = (value) => Math.round(1000 * Math.min(1, Math.max(0, value))) / 1000;
    const picture = Number(layer.canvas.dataset.picture ?? 0);
    marks.push({ box: layer.box, radio: layer.radio, x: share(x), y: share(y), picture });
    redraw();
  }

  for (const [key, radio] of Object.entries(table.radios)) {
    const player = document.querySelector('.player[data-pictures="' + key + '-pictures"]');
    if (!player) continue;
    const canvas = player.querySelector("canvas"), box = document.createElement("div"), cross = document.createElement("span");
    const layer = { box, canvas, radio: radio.slice(0, 200) }, at = { x: 0.5, y: 0.5 };
    box.className = "marks";
    box.hidden = true;
    box.tabIndex = 0;
    box.setAttribute("role", "group");
    box.setAttribute("aria-label", toggle.textContent);
    cross.className = "cross";
    box.append(cross);
    canvas.parentElement.append(box);
    layers.push(layer);
    const move = function () {
      cross.style.left = 100 * at.x + "%";
      cross.style.top = 100 * at.y + "%";
    };
    move();
    box.addEventListener("click", function (event) {
      const edge = box.getBoundingClientRect();
      put(layer, (event.clientX - edge.left) / edge.width, (event.clientY - edge.top) / edge.height);
    });
    box.addEventListener("keydown", function (event) {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (event.target !== box || !(step || event.key === "Enter")) return;
      event.preventDefault();
      if (!step) return put(layer, at.x, at.y);
      at.x = Math.min(1, Math.max(0, at.x + step[0] * 0.025));
      at.y = Math.min(1, Math.max(0, at.y + step[1] * 0.025));
      move();
    });
  }
  toggle.parentElement.hidden = layers.length === 0;
  toggle.addEventListener("click", function () {
    const on = toggle.getAttribute("aria-pressed") !== "true";
    toggle.setAttribute("aria-pressed", String(on));
    for (const layer of layers) layer.box.hidden = !on && !marks.some((mark) => mark.box === layer.box);
    if (on) layers[0].box.scrollIntoView({ block: "nearest" });
  });
  return () => marks.map(({ radio, x, y, picture }) => ({ radio, x, y, picture }));
}

function setUpAnswer(root) {
  const table = JSON.parse(root.querySelector("script").textContent), words = table.words;
  const find = (name) => root.querySelector("[data-" + name + "]");
  const by = find("by"), note = find("note"), line = find("line"), save = find("save"), mail = find("mail");
  const marks = setUpMarks(table, find("mark"), words);

  function give(answer) {
    note.required = answer === "change" && !written(note) && !marks().length;
    if (!by.reportValidity() || !note.reportValidity()) return;
    const slip = { ...table.slip, id: randomId(), at: new Date().toISOString(), by: written(by), note: written(note), answer, marks: marks() };
    const text = slipLine(slip), said = table.sentences[answer].replace("{by}", () => slip.by);
    const sentence = slip.note ? said + "\n" + slip.note : said.replace(/\s*[:\uff1a]$/, ".");
    const bodies = [sentence + "\n\n" + text + "\n", said + "\n\n" + text + "\n", text + "\n", words.attached];
    const { link, cut } = mailLink(table.to, table.subjects[answer], bodies, table.longest);
    find("sentence").textContent = sentence;
    line.value = text;
    mail.href = link;
    save.download = table.file;
    if (save.href) URL.revokeObjectURL(save.href);
    save.href = URL.createObjectURL(new Blob([sentence + "\n\n" + text + "\n"], { type: "text/plain;charset=utf-8" }));
    find("long").hidden = !cut;
    find("copied").textContent = "";
    find("result").hidden = false;
    find("head").focus();
  }

  find("yes").addEventListener("click", function () { give("yes"); });
  find("change").addEventListener("click", function () { give("change"); });
  line.addEventListener("focus", function () { line.select(); });
  find("copy").addEventListener("click", function () {
    line.select();
    if (document.execCommand("copy")) find("copied").textContent = words.copied; // the clipboard's own interface wants https
  });
  [by, note].forEach(function (field) {
    field.addEventListener("input", function () { note.required = false; find("result").hidden = true; });
  });
  root.parentElement.querySelectorAll("[data-plain]").forEach(function (plain) { plain.hidden = true; });
  root.hidden = false;
}

document.querySelectorAll("[data-answer]").forEach(setUpAnswer);
