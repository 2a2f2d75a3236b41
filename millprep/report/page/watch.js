"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  let version = -1;
  let shown = "";

  /** One list item for each text. */
  function fill(list, rows) {
    list.replaceChildren(...rows.map(([kind, text]) => {
      const item = document.createElement("li");
      item.className = kind;
      item.textContent = text;
      return item;
    }));
  }

  function show(state) {
    document.title = state.title;
    by("state").textContent = state.words;
    by("state").className = state.kind;
    fill(by("findings"), state.findings);
    const notes = by("notes");
    notes.hidden = state.notes.length === 0;
    notes.querySelector("summary").textContent = `Notes (${state.notes.length})`;
    fill(notes.querySelector("ul"), state.notes);
    fill(by("changes"), state.changes);
    const sheet = by("sheet");
    if (state.sheet && `${state.sheet}?${state.run}` !== shown) {
      shown = `${state.sheet}?${state.run}`;
      sheet.hidden = false;
      sheet.src = shown;
    }
  }

  async function follow() {
    for (;;) {
      try {
        const answer = await fetch(`state?${version}`);
        const state = await answer.json();
        version = state.version;
        show(state);
      } catch {
        by("state").textContent = "millprep watch has ended. Start it again and reload this page.";
        by("state").className = "stop";
        await new Promise((done) => setTimeout(done, 1000));
      }
    }
  }
  follow();
})();
