"use strict";
(() => {
  // Tables: sort by a head, filter by name, copy as CSV. Without this script they read as they stand.
  const UNITS = { s: 1, min: 60, h: 3600, days: 86400, d: 86400 };
  const text = (cell) => [...cell.childNodes].map((node) => node.textContent.trim()).filter(Boolean).join(" ");
  const head = (cell) => (cell.firstChild ? cell.firstChild.textContent : "").trim();
  const value = (cell) => {
    const found = head(cell).replace(/,/g, "").match(/-?\+?\d+(\.\d+)?(e-?\d+)?/);
    if (!found) return null;
    const unit = head(cell).match(/\d\s(s|min|h|days|d)\b/);
    return Number(found[0]) * (unit ? UNITS[unit[1]] : 1);
  };
  const sortBy = (table, column, button) => {
    const body = table.tBodies[0], rows = [...body.rows];
    const th = button.closest("th"), before = th.getAttribute("aria-sort");
    const numbers = rows.filter((row) => value(row.cells[column]) !== null).length > rows.length / 2 && column > 0;
    const falling = numbers ? before !== "descending" : before === "ascending";
    rows.sort((one, other) => {
      const a = one.cells[column], b = other.cells[column];
      const rising = numbers ? (value(a) ?? -Infinity) - (value(b) ?? -Infinity) : text(a).localeCompare(text(b));
      return falling ? -rising : rising;
    });
    for (const other of table.tHead.querySelectorAll("th")) other.removeAttribute("aria-sort");
    th.setAttribute("aria-sort", falling ? "descending" : "ascending");
    body.append(...rows);
  };
  const csv = (table) => [...table.rows].map((row) => [...row.cells]
    .map((cell) => `"${text(cell).replace(/"/g, '""')}"`).join(",")).join("\r\n");
  for (const table of document.querySelectorAll("details.fold table")) {
    const tools = document.createElement("p");
    tools.className = "tools";
    const name = table.closest("details").querySelector("summary").textContent.trim();
    if (table.tBodies[0].rows.length > 5) {
      const label = document.createElement("label");
      label.textContent = "Only names with ";
      const field = document.createElement("input");
      field.type = "search";
      field.setAttribute("aria-label", `Only names with, in ${name}`);
      field.addEventListener("input", () => {
        for (const row of table.tBodies[0].rows) row.hidden = !text(row.cells[0]).toLowerCase().includes(field.value.toLowerCase());
      });
      label.append(field);
      tools.append(label);
    }
    const copy = document.createElement("button");
    copy.type = "button";
    copy.textContent = "Copy as CSV";
    copy.setAttribute("aria-label", `Copy as CSV: ${name}`);
    copy.addEventListener("click", async () => {
      const content = csv(table);
      try { await navigator.clipboard.writeText(content); }
      catch {
        const area = document.createElement("textarea");
        area.value = content;
        document.body.append(area);
        area.select();
        document.execCommand("copy");
        area.remove();
      }
      copy.textContent = "Copied";
      setTimeout(() => { copy.textContent = "Copy as CSV"; }, 1500);
    });
    tools.append(copy);
    table.closest(".scroll").before(tools);
    [...table.tHead.rows[0].cells].forEach((th, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.append(...th.childNodes);
      th.append(button);
      button.addEventListener("click", () => sortBy(table, column, button));
    });
  }

  // What scrolls says so, and only where it does.
  const mark = () => {
    for (const each of document.querySelectorAll(".scroll")) each.classList.toggle("wider", each.scrollWidth > each.clientWidth + 2);
  };
  addEventListener("resize", mark);
  document.addEventListener("toggle", mark, true);
  mark();

  // Everything is open in print, and a link into a fold opens it.
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details:not([open])")];
    for (const each of closed) each.open = true;
  });
  addEventListener("afterprint", () => { for (const each of closed) each.open = false; });
})();
