/* The front page without loading it again: its parts are replaced when the office has news. Without this script the page
   has a link that loads it. Whoever reads in peace can stop it (WCAG 2.2, 2.2.2), and a page that nobody sees asks for
   nothing. What is open stays open and what has the focus keeps it. */
"use strict";
(() => {
  const parts = document.getElementById("now");
  const said = document.getElementById("said");
  const state = document.getElementById("following");
  const button = document.getElementById("follow");
  let source = null, wanted = true, last = "";

  function show(html) {
    const fresh = new DOMParser().parseFromString(`<body>${html}</body>`, "text/html").body;
    for (const open of parts.querySelectorAll("details[open][id]")) {
      const same = fresh.querySelector(`#${open.id}`);
      if (same) same.open = true;
    }
    const held = place(document.activeElement);
    const names = (of) => [...of.children].map((child) => child.id).join(" ");
    if (names(fresh) !== names(parts)) parts.replaceChildren(...fresh.children);
    else for (const old of [...parts.children]) {
      const next = fresh.querySelector(`:scope > #${old.id}`);
      if (next.outerHTML !== old.outerHTML) old.replaceWith(next);
    }
    if (held && !parts.contains(document.activeElement)) find(held)?.focus({ preventScroll: true });
  }
  /* Where in the parts the focus is: the section, and the link, summary or table that has it. */
  function place(element) {
    if (!parts.contains(element)) return null;
    return { tag: element.tagName, href: element.getAttribute("href"), text: element.textContent,
      section: element.closest("section, [id^=part-]")?.getAttribute("aria-labelledby") };
  }
  function find(held) {
    const alike = [...parts.querySelectorAll(held.tag)].filter((one) => one.getAttribute("href") === held.href);
    return alike.find((one) => one.textContent === held.text)
      || alike.find((one) => one.closest("section")?.getAttribute("aria-labelledby") === held.section) || alike[0];
  }
  function say(text) { if (state.textContent !== text) state.textContent = text; }

  function follow() {
    if (source || !wanted || document.hidden) return;
    say("Looking …");
    source = new EventSource(parts.dataset.from);
    source.onmessage = (event) => {
      const news = JSON.parse(event.data);
      show(news.html);
      if (last && news.said !== last) said.textContent = news.said;
      last = news.said;
      say("Kept up to date");
    };
    source.onopen = () => say("Kept up to date");
    source.onerror = () => {
      if (source.readyState !== EventSource.CLOSED) return; // a stream that has ended is opened again by the browser
      leave();
      say("Not kept up to date: no answer");
    };
  }
  function leave() { source?.close(); source = null; }

  button.hidden = false;
  button.addEventListener("click", () => {
    wanted = !wanted;
    button.textContent = wanted ? "Stop following" : "Follow again";
    if (wanted) follow();
    else { leave(); say("Not kept up to date"); }
  });
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : follow()));
  window.addEventListener("pagehide", leave);
  window.addEventListener("pageshow", follow);
  follow();
})();
