// Keeps half-typed answers of a booking over a reload or a way back, in this tab only. Pages work without it.
"use strict";
(() => {
  const PREFIX = "typed ";
  const form = document.querySelector("form[data-keep]");
  let store;
  try {
    store = window.sessionStorage;
    store.length;
  } catch {
    return; // storage is refused: nothing is kept, nothing breaks
  }
  if (!form) {
    // The booking is made: what was typed on the way here goes.
    Object.keys(store).filter((key) => key.startsWith(PREFIX)).forEach((key) => store.removeItem(key));
    return;
  }
  const goal = new URL(form.action);
  const key = PREFIX + goal.pathname + goal.searchParams.get("draft");
  const fields = () => [...form.elements].filter((field) => field.name && !["hidden", "submit"].includes(field.type));
  const ticks = (field) => ["checkbox", "radio"].includes(field.type);
  const touched = (field) => (ticks(field) ? field.checked !== field.defaultChecked : field.value !== field.defaultValue);
  const kept = JSON.parse(store.getItem(key) || "null");
  // A refused form comes back with what was sent, and a quick rider has typed already: both are newer than this.
  if (kept && form.dataset.keep === "restore" && !fields().some(touched)) {
    for (const field of fields()) {
      if (!(field.name in kept)) continue;
      if (ticks(field)) field.checked = kept[field.name].includes(field.value);
      else field.value = kept[field.name][0];
    }
  }
  const keep = () => {
    const typed = {};
    for (const field of fields()) {
      typed[field.name] ??= [];
      if (!ticks(field) || field.checked) typed[field.name].push(field.value);
    }
    store.setItem(key, JSON.stringify(typed));
  };
  form.addEventListener("input", keep);
  window.addEventListener("pagehide", keep);
})();
