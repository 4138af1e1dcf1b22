"use strict";
// Prices tried on the run's own counts: amount = counts x figures x price growth x discount.
(() => {
  const form = document.getElementById("what-if");
  if (!form) return;
  const data = JSON.parse(form.dataset.counts);
  const product = (keys, figures, type) =>
    keys.reduce((value, key) => value * figures[key.replace("{type}", type)], 1);
  const total = (row, kind, figures) => {
    let sum = 0;
    row.years.forEach((counts, year) => {
      const factor = ((1 + figures.price_escalation) / (1 + figures.discount_rate)) ** year;
      data.lines.filter((line) => line.kind === kind).forEach((line) => {
        const quantity = line.terms.reduce(
          (found, [count, ...keys]) => found + counts[count] * product(keys, figures, row.type), 0);
        sum += quantity * product(line.price, figures, row.type) * factor;
      });
    });
    return sum;
  };
  // Whole units are shown; whoever checks the sums finds the hundredths under the pointer.
  const written = (amount) => (Math.round(amount) + 0).toLocaleString("en-US");
  const signed = (amount) => (Math.round(amount) > 0 ? "+" : "") + written(amount);
  const show = () => {
    const figures = { ...data.figures };
    [...form.elements].filter((field) => field.name).forEach((field) => {
      const value = Number(field.value);
      const usable = field.value.trim() !== "" && Number.isFinite(value) && value >= 0;
      field.setCustomValidity(usable ? "" : "a number of at least 0");
      if (usable) figures[field.name] = value;
    });
    data.counts.forEach((row, place) => {
      ["cash", "downtime"].forEach((kind) => {
        const amount = total(row, kind, figures);
        const field = document.getElementById(`what-if-${place}-${kind}`);
        field.textContent = written(amount);
        field.title = amount.toFixed(2);
        document.getElementById(`what-if-${place}-${kind}-change`).textContent =
          signed(amount - total(row, kind, data.figures));
      });
    });
  };
  form.addEventListener("input", show);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(show, 0));
  show();
})();
