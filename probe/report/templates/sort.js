"use strict";
// Heads of long tables become buttons that sort: once up, again down, a third time as it was.
(() => {
  const scale = { p: 1e-12, n: 1e-9, "µ": 1e-6, m: 1e-3, k: 1e3, M: 1e6, G: 1e9 };
  const key = (cell) => {
    const text = cell ? cell.textContent.trim().replace(/−/g, "-") : "";
    const found = text.match(/^(?:above |below )?([+-]?\d+(?:\.\d+)?)/);
    if (!found) return { number: NaN, text };
    const unit = text.match(/([pnµmkMG])(?:Ω|V|A|Hz|F)\b|([pnµmkMG])Ω/);
    return { number: Number(found[1]) * (unit ? scale[unit[1] || unit[2]] : 1), text };
  };
  const order = (a, b) => {
    if (Number.isNaN(a.number) !== Number.isNaN(b.number)) return Number.isNaN(a.number) ? 1 : -1;
    return Number.isNaN(a.number) ? a.text.localeCompare(b.text) : a.number - b.number;
  };
  for (const table of document.querySelectorAll("table.sortable")) {
    const heads = [...table.tHead.rows[0].cells];
    const bodies = [...table.tBodies].map((body) => ({
      body,
      fixed: [...body.rows].filter((row) => row.classList.contains("group")),
      rows: [...body.rows].filter((row) => !row.classList.contains("group")),
    }));
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const now = head.getAttribute("aria-sort");
        const next = now === null ? "ascending" : now === "ascending" ? "descending" : null;
        for (const other of heads) other.removeAttribute("aria-sort");
        if (next !== null) head.setAttribute("aria-sort", next);
        const sign = next === "descending" ? -1 : 1;
        for (const { body, fixed, rows } of bodies) {
          const keyed = rows.map((row) => [key(row.cells[column]), row]);
          if (next !== null) {
            keyed.sort(([a], [b]) =>
              Number.isNaN(a.number) || Number.isNaN(b.number) ? order(a, b) : sign * order(a, b));
          }
          body.append(...fixed, ...keyed.map(([, row]) => row));
        }
      });
    });
  }
})();
