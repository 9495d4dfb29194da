/* The return desk without loading the page again. Every number that is entered goes to the end of one queue, and leaves
   it when the office has answered, never before. While the connection is away the queue waits on this page (and survives
   loading it again); a number in it is called "not yet looked up" and nothing else. Each has a key, so that one that is
   sent twice, because its answer was lost on the way, is recorded once. */
"use strict";
(() => {
  const form = document.getElementById("desk");
  const field = document.getElementById("number");
  const box = document.getElementById("answer");
  const line = document.getElementById("line");
  const found = document.getElementById("found");
  const kept = document.getElementById("waiting");
  const table = document.getElementById("scans");
  const sound = document.getElementById("sound");
  const shelf = `desk-waiting:${form.dataset.account}`;
  const PATIENCE = 10000, AGAIN = [1000, 2000, 4000, 8000], MOST_ROWS = 50;
  let waiting = read(shelf);
  let busy = false, tries = 0, timer = 0, since = null;

  function read(name) {
    try { return JSON.parse(sessionStorage.getItem(name)) || []; } catch { return []; }
  }
  function keep() {
    try {
      if (waiting.length) sessionStorage.setItem(shelf, JSON.stringify(waiting));
      else sessionStorage.removeItem(shelf);
    } catch { /* the browser keeps nothing: then this page alone does */ }
  }
  function key() {
    return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
  }
  function element(name, text, className) {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    if (className) made.className = className;
    return made;
  }
  function say(text, away = false) {
    line.textContent = text;
    line.className = away ? "line away" : "line";
    found.hidden = true;
  }
  function many(count, one) { return `${count} ${one}${count === 1 ? "" : "s"}`; }

  function show(kind, headline, number, lines) {
    box.hidden = false;
    box.className = `answer ${kind}`;
    box.replaceChildren(element("p", headline, "verdict"));
    if (number) box.append(element("p", number, "number"));
    for (const text of lines) box.append(element("p", text));
    box.scrollIntoView({ block: "nearest" }); // at four times the size it would be below the screen
  }
  function showWaiting(scan, why) {
    show("waiting", "… NOT YET LOOKED UP", scan.number, [why]);
  }
  function drawKept() {
    const away = since !== null;
    kept.hidden = !away || !waiting.length;
    kept.querySelector("ol").replaceChildren(...waiting.map((scan) => {
      const row = element("li");
      row.append(element("span", scan.number, "number"), ` – not yet looked up${scan.look ? " (only to look)" : ""}`);
      return row;
    }));
  }
  function addRow(answer) {
    if (answer.only_look) return;
    const row = element("tr", undefined, answer.kind);
    const number = element("th", answer.number || "–", "number");
    number.scope = "row";
    const undo = element("td");
    if (answer.undo) {
      const link = element("a", "Undo");
      link.href = answer.undo;
      link.setAttribute("aria-label", `Undo the scan of ${answer.number || "a number that could not be read"}`);
      undo.append(link);
    }
    row.append(number, element("td", answer.word), element("td", answer.when || "not recorded"), undo);
    table.tBodies[0].prepend(row);
    while (table.tBodies[0].rows.length > MOST_ROWS) table.tBodies[0].lastElementChild.remove();
    table.hidden = false;
    document.getElementById("no-scans").hidden = true;
  }

  class Away extends Error {}
  class Refused extends Error {}

  async function send(scan, address, options) {
    const patience = new AbortController();
    const alarm = setTimeout(() => patience.abort(), PATIENCE);
    try {
      return await fetch(address, { ...options, redirect: "manual", signal: patience.signal, cache: "no-store" });
    } catch {
      throw new Away("The connection is away.");
    } finally { clearTimeout(alarm); }
  }
  async function renew(scan) {
    // The page was open longer than its form lasts, or one signed in again in another window: a fresh form is fetched.
    const answer = await send(scan, form.dataset.page, {});
    if (answer.type === "opaqueredirect") throw new Refused("You are signed out: sign in in another window.");
    const token = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[name=csrf_token]");
    if (token) form.elements.csrf_token.value = token.value;
  }
  async function ask(scan, renewed = false) {
    const body = new FormData();
    body.set("csrf_token", form.elements.csrf_token.value);
    body.set("number", scan.number);
    body.set("key", scan.key);
    if (scan.look) body.set("look", "1");
    body.set("waited", String(Math.max(0, Math.floor((Date.now() - scan.at) / 1000))));
    const answer = await send(scan, form.dataset.scan, { method: "POST", body });
    if (answer.type === "opaqueredirect") throw new Refused("You are signed out: sign in in another window.");
    const json = (answer.headers.get("Content-Type") || "").startsWith("application/json");
    if (answer.ok && json) {
      try { return await answer.json(); } catch { throw new Away("The connection is away."); }
    }
    if (answer.status === 400 && !renewed) {
      await renew(scan);
      return ask(scan, true);
    }
    if (answer.status >= 500 || answer.ok) throw new Away("The service does not answer as it should.");
    if (answer.status === 409) throw new Refused("The office's rules are not loaded: tell the supervisor.");
    throw new Refused("The service does not take numbers from this page: tell the supervisor.");
  }

  async function work() {
    if (busy) return;
    busy = true;
    clearTimeout(timer);
    while (waiting.length) {
      const scan = waiting[0];
      let answer;
      try {
        answer = await ask(scan);
      } catch (trouble) {
        stay(trouble);
        busy = false;
        return;
      }
      waiting.shift();
      keep();
      answered(answer);
    }
    busy = false;
  }
  function answered(answer) {
    tries = 0;
    if (since !== null) {
      since.push(answer);
      if (!waiting.length) {
        const live = since.filter((one) => one.kind === "live").length;
        const others = since.filter((one) => one.kind !== "live");
        const apart = others.map((one) => `${one.number || "a number that could not be read"} (${one.word})`);
        const find = apart.length ? ` NOT live, find these envelopes first: ${apart.join(", ")}.` : "";
        say(`The connection is back: ${many(since.length, "number")} looked up now, ${live} live.${find}`, Boolean(find));
        found.hidden = !apart.length;
        since = null;
      }
      drawKept();
    }
    addRow(answer);
    if (waiting.length) showWaiting(waiting[waiting.length - 1], "It waits for those before it.");
    else {
      const lines = answer.only_look ? [...answer.lines, "Only looked up: nothing was recorded."] : answer.lines;
      show(answer.kind, answer.headline, answer.number, lines);
    }
    play(answer.kind);
  }
  function stay(trouble) {
    const why = trouble instanceof Refused || trouble instanceof Away ? trouble.message : "The page is in trouble.";
    if (since === null) since = [];
    say(`${why} ${many(waiting.length, "number")} kept on this page, not yet looked up.`, true);
    drawKept();
    showWaiting(waiting[waiting.length - 1], "It is kept on this page. Keep the envelope apart until it was looked up.");
    play("waiting");
    timer = setTimeout(work, AGAIN[Math.min(tries, AGAIN.length - 1)]);
    tries += 1;
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const number = field.value.trim();
    field.value = "";
    field.focus();
    if (!number) return;
    if (since === null && found.hidden) say("");
    const look = Boolean(event.submitter && event.submitter.name === "look");
    const scan = { number, look, key: key(), at: Date.now() };
    waiting.push(scan);
    keep();
    showWaiting(scan, since === null ? "One moment." : "It is kept on this page. Keep the envelope apart until it was looked up.");
    if (since !== null) {
      drawKept();
      say(`The connection is away. ${many(waiting.length, "number")} kept on this page, not yet looked up.`, true);
    }
    work();
  });
  found.addEventListener("click", () => { say(""); field.focus(); });
  window.addEventListener("online", () => { tries = 0; work(); });
  window.addEventListener("beforeunload", (event) => { if (waiting.length) event.preventDefault(); });

  // A scanner types wherever the cursor is: what it types goes into the number field.
  document.addEventListener("keydown", (event) => {
    const at = document.activeElement;
    const types = at && (at.tagName === "TEXTAREA" || at.tagName === "SELECT" || (at.tagName === "INPUT" && at.type === "text"));
    if (!types && /^[0-9A-Za-z]$/.test(event.key) && !event.ctrlKey && !event.altKey && !event.metaKey) field.focus();
  });

  // Sounds tell answers apart by how many there are and whether they rise or fall, for whoever looks at the pile.
  const TUNES = {
    live: [880], again: [660, 660], stop: [330, 262, 196], unknown: [440, 330], misread: [440, 550],
    brought_back: [660], waiting: [220],
  };
  let audio = null;
  function play(kind) {
    if (!sound.checked) return;
    audio = audio || new AudioContext();
    (TUNES[kind] || []).forEach((pitch, place) => {
      const tone = audio.createOscillator(), volume = audio.createGain();
      const start = audio.currentTime + place * 0.16;
      tone.frequency.value = pitch;
      volume.gain.setValueAtTime(0.2, start);
      volume.gain.exponentialRampToValueAtTime(0.001, start + 0.15);
      tone.connect(volume).connect(audio.destination);
      tone.start(start);
      tone.stop(start + 0.15);
    });
    document.documentElement.dataset.played = kind;
  }
  document.getElementById("sound-choice").hidden = false;
  try { sound.checked = localStorage.getItem("desk-sound") === "on"; } catch { /* off, then */ }
  sound.addEventListener("change", () => {
    try { localStorage.setItem("desk-sound", sound.checked ? "on" : "off"); } catch { /* for this page only */ }
    play("live");
  });

  field.focus();
  if (waiting.length) {
    since = [];
    drawKept();
    work();
  }
  document.documentElement.dataset.desk = "ready";
})();
