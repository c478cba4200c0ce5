"use strict";
// Hands on the drawing. What a place means for the truck is worked out by the server; here pixels become millimetres.
(() => {
  const root = document.body.dataset.root;
  const bench = () => document.getElementById("bench");
  const along = () => [...document.querySelectorAll("#along input[name=with]:checked")].map((box) => box.value);
  const chosen = () => document.querySelector("#state input[name=part]")?.value;
  const waits = (window.cragWaits = []); // ms from a move to its picture, for the benchmark

  let held = null;
  let next = null;
  let busy = false;

  function values(part, by, keep) {
    const form = { sheet: bench().dataset.sheet, part, by_x: by[0], by_y: by[1], by_z: by[2], keep: keep ? "yes" : "no" };
    if (part === chosen()) form.with = along();
    return form;
  }

  async function send() {
    if (busy) return;
    busy = true;
    while (next) {
      const { form, began } = next;
      next = null;
      await htmx.ajax("POST", `${root}/truck/move`, {
        source: "#bench", target: "#bench", swap: form.keep === "yes" ? "innerMorph" : "none", values: form,
      });
      requestAnimationFrame(() => waits.push(performance.now() - began));
    }
    busy = false;
  }

  function ask(form) {
    next = { form, began: performance.now() };
    send();
  }

  function millimetres(svg, event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [at.x / Number(svg.dataset.mm), -at.y / Number(svg.dataset.mm)];
  }

  function offset(view, across) {
    return view === "side" ? [across[0], 0, across[1]] : [across[0], across[1], 0];
  }

  document.addEventListener("pointerdown", (event) => {
    const part = event.target.closest?.(".movable");
    if (!part || event.button !== 0) return;
    const svg = part.closest("svg");
    held = { id: event.pointerId, part: part.dataset.part, svg, view: svg.dataset.view, from: millimetres(svg, event), moved: false };
    bench().setPointerCapture(event.pointerId);
    event.preventDefault();
    part.focus({ preventScroll: true });
  });

  // Not every browser minds touch-action inside of a drawing: without this the page would scroll away under the finger.
  document.addEventListener("touchstart", (event) => {
    if (event.target.closest?.(".movable")) event.preventDefault();
  }, { passive: false });

  document.addEventListener("pointermove", (event) => {
    if (!held || event.pointerId !== held.id) return;
    const now = millimetres(held.svg, event);
    const across = [now[0] - held.from[0], now[1] - held.from[1]].map((d) => Math.round(d * 100) / 100);
    if (!held.moved && Math.hypot(...across) < 0.7) return;
    if (!held.moved) lift(held.part);
    held.moved = true;
    held.by = offset(held.view, across);
    ask(values(held.part, held.by, false));
  });

  // What is in the hand is drawn over the picture until it is let go, when the picture is made anew.
  function lift(part) {
    const names = [part, ...(part === chosen() ? along() : [])];
    for (const one of document.querySelectorAll(".movable")) one.classList.toggle("lifted", names.includes(one.dataset.part));
  }

  function letGo(event, keep) {
    if (!held || event.pointerId !== held.id) return;
    const { part, by, moved } = held;
    held = null;
    if (moved) ask(values(part, keep ? by : [0, 0, 0], true));
    else if (part !== chosen()) {
      const query = new URLSearchParams({ sheet: bench().dataset.sheet, part });
      htmx.ajax("GET", `${root}/truck/part?${query}`, { target: "#bench", swap: "innerMorph" });
    }
  }
  document.addEventListener("pointerup", (event) => letGo(event, true));
  document.addEventListener("pointercancel", (event) => letGo(event, false));

  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  document.addEventListener("keydown", (event) => {
    const part = event.target.closest?.(".movable");
    if (!part) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      const query = new URLSearchParams({ sheet: bench().dataset.sheet, part: part.dataset.part });
      htmx.ajax("GET", `${root}/truck/part?${query}`, { target: "#bench", swap: "innerMorph" });
      return;
    }
    const way = ARROWS[event.key];
    if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    const step = event.shiftKey ? 10 : 1;
    // One request a press: a press that comes while another is on its way adds to it.
    const by = offset(part.closest("svg").dataset.view, way.map((d) => d * step));
    const waiting = next?.form;
    if (waiting?.keep === "yes" && waiting.part === part.dataset.part) {
      ask(values(part.dataset.part, [waiting.by_x + by[0], waiting.by_y + by[1], waiting.by_z + by[2]], true));
    } else ask(values(part.dataset.part, by, true));
  });

  // The server gone, or started again under another address: nothing here can be done but to say so.
  const told = (event) => {
    const status = event.detail?.ctx?.response?.status;
    const line = document.createElement("p");
    line.className = "alarm";
    line.textContent = status
      ? `The server answered with ${status}. Load the page again; nothing that was kept is lost.`
      : "The bench does not answer any more. Start cragbench page again and use the address it prints: what was done " +
        "is on the bench again then, and runs go on by themselves.";
    document.getElementById("message").replaceChildren(line);
  };
  document.addEventListener("htmx:error", told);
  document.addEventListener("htmx:response:error", told);

  window.addEventListener("beforeunload", (event) => {
    if (document.querySelector('[data-unsaved="yes"]')) event.preventDefault();
  });

  // Tables to sort by a button in each head cell, numbers by data-value or by what is written. A run that goes on renews
  // its table: it is put in the order that was asked for again.
  const orders = new Map();
  const titleOf = (table) => table.closest("[aria-label]").getAttribute("aria-label") + table.tHead.textContent;

  function sort(table, column, down) {
    [...table.tHead.rows[0].cells].forEach((cell, n) => {
      if (n === column) cell.setAttribute("aria-sort", down ? "descending" : "ascending");
      else cell.removeAttribute("aria-sort");
    });
    const key = (row) => row.cells[column].dataset.value ?? row.cells[column].textContent.trim();
    const rows = [...table.tBodies[0].rows];
    const numeric = rows.every((row) => key(row) !== "" && !Number.isNaN(Number(key(row))));
    rows.sort((a, b) => (numeric ? Number(key(a)) - Number(key(b)) : key(a).localeCompare(key(b), "en", { numeric: true })));
    table.tBodies[0].append(...(down ? rows.reverse() : rows));
  }
  document.addEventListener("click", (event) => {
    const cell = event.target.closest?.(".sortable thead button")?.parentElement;
    if (!cell) return;
    const table = cell.closest("table");
    const down = cell.getAttribute("aria-sort") !== "descending";
    orders.set(titleOf(table), [cell.cellIndex, down]);
    sort(table, cell.cellIndex, down);
  });
  document.addEventListener("htmx:after:swap", () => {
    for (const table of document.querySelectorAll("table.sortable")) {
      if (orders.has(titleOf(table))) sort(table, ...orders.get(titleOf(table)));
    }
  });
})();
