/* Single keys. What a key leads to says so itself (aria-keyshortcuts), so that a screen reader tells it too. A link is
   followed; a button is only brought into focus, so that no letter decides anything; what is folded is opened, and its
   first field waits. Nothing happens while somebody types, with Control, Alt or the like, or while a key is held down. */
"use strict";
(() => {
  const panel = document.getElementById("keys");
  const FIELDS = "input:not([type=checkbox]):not([type=radio]), textarea, select, [contenteditable]";

  function led(key) {
    return [...document.querySelectorAll("[aria-keyshortcuts]")].find((one) => one.getAttribute("aria-keyshortcuts") === key);
  }
  function unfold(place) {
    for (let around = place.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  }
  function focus(place) {
    unfold(place);
    place.focus();
    place.scrollIntoView({ block: "nearest" });
  }
  function follow(place) {
    if (place.matches("summary")) {
      const within = place.parentElement;
      within.open = true;
      focus(within.querySelector("textarea, select, input:not([type=hidden]), button, a[href]") || place);
    } else if (place.matches("a[href]")) place.click();
    else focus(place);
  }
  function listed() { return [...document.querySelectorAll("[data-row] th a")]; }
  function row(step) {
    const links = listed();
    const present = links.indexOf(document.activeElement);
    const next = present < 0 ? (step > 0 ? 0 : links.length - 1) : present + step;
    if (links[next]) focus(links[next]);
  }
  function open() {
    const links = listed();
    const chosen = links.includes(document.activeElement) ? document.activeElement : links[0];
    if (chosen) chosen.click();
  }
  function show() {
    if (panel.open) panel.close();
    else panel.showModal();
  }
  const rows = JSON.parse(document.documentElement.querySelector("[data-keys]").dataset.keys);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.repeat || event.defaultPrevented) return;
    if (event.target instanceof Element && event.target.closest(FIELDS)) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : "";
    if (!key || (panel.open && key !== rows.panel)) return;
    if (key === rows.panel) show();
    else if (key === rows.open) open();
    else if (key === rows.row_down) row(1);
    else if (key === rows.row_up) row(-1);
    else {
      const place = led(key);
      if (!place) return;
      follow(place);
    }
    event.preventDefault();
  });
  panel.querySelector("button").addEventListener("click", () => panel.close());
  document.documentElement.dataset.keysReady = "yes";
})();
