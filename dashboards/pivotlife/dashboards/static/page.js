"use strict";
// Sort, filter, unfold, download. Every page is complete without this script.
(() => {
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  document.documentElement.classList.add("scripted");

  // Dates and percentages of the many reasons stay on one line; in the file the tags would be long.
  all(".jobs summary").forEach((reason) => {
    const whole = reason.innerHTML.replace(/\d{4}-\d{2}-\d{2}/g, "<time>$&</time>");
    reason.innerHTML = whole.replace(/(\d) (?=%|mm)/g, "$1\u00a0");
  });

  // Sorting: numbers by size, words by alphabet, words in number columns last.
  const size = (text) => {
    const found = text.replace(/,/g, "").match(/-?\d+(\.\d+)?/);
    if (!found) return Infinity;
    return Number(found[0]) + (text.startsWith("under") ? -1e-6 : text.startsWith("over") ? 1e-6 : 0);
  };
  const sortBy = (heading) => {
    const table = heading.closest("table");
    const headings = all("thead th", table);
    const place = headings.indexOf(heading);
    const numeric = heading.classList.contains("num");
    const down = heading.getAttribute("aria-sort") === "ascending";
    // The small print below a figure is not what its row is sorted by.
    const key = (row) => row.cells[place].querySelector("span").firstChild.textContent.trim();
    const compare = (one, other) => {
      if (!numeric) return key(one).localeCompare(key(other), "en", { numeric: true }) * (down ? -1 : 1);
      const a = size(key(one));
      const b = size(key(other));
      if (a === b) return 0;
      if (a === Infinity || b === Infinity) return a === Infinity ? 1 : -1;
      return (a - b) * (down ? -1 : 1);
    };
    const body = table.tBodies[0];
    const rows = [...body.rows].filter((row) => !row.classList.contains("none"));
    body.append(...rows.sort(compare));
    headings.forEach((other) => other.removeAttribute("aria-sort"));
    heading.setAttribute("aria-sort", down ? "descending" : "ascending");
  };
  all("[data-sort]").forEach((mark) => {
    mark.addEventListener("click", () => sortBy(mark.closest("th")));
    mark.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      sortBy(mark.closest("th"));
    });
  });

  // On a telephone a long list shows its head until the rest is asked for; orders never fold.
  const unfolds = [];
  all("table.list, table.jobs").forEach((table) => {
    const grouped = table.classList.contains("jobs");
    const size = grouped ? table.tBodies.length : table.tBodies[0].rows.length;
    const tools = all(`[data-csv="${table.id}"]`)[0];
    const short = size <= (grouped ? 12 : 8) || table.classList.contains("pairs");
    if (!tools || short || ["park-list", "must-list"].includes(table.id)) return;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "rest";
    button.textContent = `Show all ${size.toLocaleString("en")} ${grouped ? "visits" : "rows"}`;
    table.classList.add("long");
    tools.before(button);
    const unfold = () => { table.classList.add("whole"); button.remove(); };
    button.addEventListener("click", unfold);
    if (grouped) unfolds.push(unfold);
  });

  // Filtering lines by depot, by what to do, and by words.
  const form = document.getElementById("filter");
  const jobs = new Map(all("tr.job").map((head) => {
    const [unit, depot, visit] = [...head.cells[0].children].map((part) => part.textContent);
    return [head.parentElement, { unit, depot, visit: visit.replace("visit ", "") }];
  }));
  const lines = all("tr[data-order]");
  const filter = () => {
    const depot = form.elements.depot.value;
    const order = form.elements.order.value;
    const words = form.elements.words.value.trim().toLowerCase();
    let shown = 0;
    lines.forEach((line) => {
      const job = jobs.get(line.parentElement);
      const told = () => `${job.unit} ${job.visit} ${line.textContent}`.toLowerCase().replace(/\s/g, " ");
      const fits = (!depot || job.depot === depot) && (!order || line.dataset.order === order) && (!words || told().includes(words));
      line.hidden = !fits;
      shown += fits ? 1 : 0;
    });
    [...jobs.keys()].forEach((body) => {
      body.hidden = !all("tr[data-order]", body).some((line) => !line.hidden);
    });
    all("table.jobs").forEach((table) => {
      const own = lines.filter((line) => table.contains(line));
      table.hidden = own.length > 0 && own.every((line) => line.hidden);
      table.nextElementSibling.hidden = !table.hidden;
    });
    document.getElementById("left-fold").open = order === "leave" || words !== "";
    document.getElementById("shown").textContent =
      shown === lines.length ? form.dataset.total : `${shown.toLocaleString("en")} of ${form.dataset.total} shown`;
  };
  if (form) {
    form.addEventListener("input", filter);
    form.addEventListener("input", () => unfolds.forEach((unfold) => unfold()), { once: true });
    form.addEventListener("submit", (event) => event.preventDefault());
    const unfold = form.querySelector("[data-unfold]");
    let open = false;
    unfold.addEventListener("click", () => {
      open = !open;
      lines.filter((line) => !line.hidden).forEach((line) => {
        all("details", line).forEach((part) => { part.open = open; });
      });
      unfold.textContent = open ? "Fold shown lines" : "Unfold shown lines";
    });
  }

  // Download of the shown rows. A cell that a spreadsheet would run as a formula gets an apostrophe.
  const quoted = (text) => {
    const clean = text.replace(/\s+/g, " ").trim();
    return `"${(/^[=+\-@]/.test(clean) ? `'${clean}` : clean).replace(/"/g, '""')}"`;
  };
  const csv = (table) => {
    const grouped = table.classList.contains("jobs");
    const heads = [...(grouped ? ["Unit", "Depot", "Visit"] : []), ...all("thead th", table).map((head) => head.textContent)];
    const rows = all("tbody tr", table).filter(
      (row) => !row.hidden && !row.parentElement.hidden && !row.matches(".job, .none, .none *"),
    );
    const cells = (row) => [
      ...(grouped ? Object.values(jobs.get(row.parentElement)) : []),
      ...[...row.cells].map((cell) => cell.textContent),
    ];
    return [heads, ...rows.map(cells)].map((row) => row.map(quoted).join(",")).join("\r\n") + "\r\n";
  };
  all("[data-csv]").forEach((button) => {
    button.addEventListener("click", () => {
      const text = csv(document.getElementById(button.dataset.csv));
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob(["\ufeff", text], { type: "text/csv" }));
      link.download = `${button.dataset.csv}.csv`;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    });
  });
})();
