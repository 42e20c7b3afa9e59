"use strict";
/* What looks odd by itself, and numbers outside their limits, for the sheet that has no program behind it. The rules
   and the limits are the program's own (burden/io/odd_numbers.py, burden/io/schema.py), read here as data. */
(function (burden) {
  const { form, say } = burden;
  const empty = (value) => value === undefined || value === null || value === "";
  const word = (row, key) => (empty(row[key]) ? "" : String(row[key]));
  const listed = (table) => form.get([table]) || [];

  /* A number as the rules count it: a range by its middle, a date as its day from the visit, a count by its lower end. */
  function number(value, key) {
    if (empty(value)) return null;
    if (key === "date") return burden.between(form.get(["case", "visit_date"]), value);
    if (typeof value === "object") return typeof value.value === "number" ? value.value : null;
    const found = key === "count" ? /\d+/.exec(value) : [value];
    return found && Number.isFinite(Number(found[0])) ? Number(found[0]) + (key === "count" && /^>\d/.test(value) ? 1 : 0) : null;
  }

  /* Where a rule looks: path of the question, row, and what stands there. */
  function places(at) {
    const [table, ...rest] = at.split("."), key = rest.pop();
    if (!rest.length) { const row = form.get([table]) || {}; return [[[table, key], row, row[key]]]; }
    const rows = listed(table).map((row, i) => [[table, i, key], row, row[key]]);
    if (rest[0] === "*") return rows;
    const dated = rows.filter(([, row]) => row.date).sort((a, b) => (a[1].date < b[1].date ? -1 : 1));
    return (rest[0] === "first" ? dated.slice(0, 1) : dated.slice(-1)).map(([, row, value]) => [[table], row, value]);
  }

  function beside(path) {
    if (!path) return null;
    const [table, key] = path.split("."), rows = form.get([table]);
    return Array.isArray(rows) ? rows.reduce((sum, row) => sum + (row[key] || 0), 0) : number((rows || {})[key], key);
  }

  function question(rule, row, value, other) {
    const gaps = { ...row, action: word(row, "action") || "dose", key: rule.at.split(".").pop(), visit: form.get(["case", "visit_date"]) };
    const figures = { value, times: 1000 * value, part: value / 1000, percent: 100 * value, ago: -value, beside: other };
    for (const [name, figure] of Object.entries(figures)) gaps[name] = burden.plain(figure || 0).replace(/\u00a0/g, " ");
    gaps.action = gaps.action.replace(/_/g, " ");
    return rule.text.replace(/\{(\w+)\}/g, (_, name) => String(gaps[name]));
  }

  function odd() {
    const asked = new Set(), said = [];
    for (const rule of burden.facts.odd || []) {
      if (rule.place && asked.has(rule.place)) continue;
      const other = beside(rule.beside), found = [];
      if (rule.beside && !other) continue;
      for (const [path, row, told] of places(rule.at)) {
        const value = number(told, path[path.length - 1] === "date" || /\.(first|last)\./.test(rule.at) ? "date" : rule.at.split(".").pop());
        if (value === null || !rule.only.every(([key, words]) => words.includes(word(row, key))) || rule.never.some(([key, words]) => words.includes(word(row, key)))) continue;
        const measured = other ? value / other : value;
        if ((rule.low !== null && measured < rule.low) || (rule.high !== null && measured > rule.high)) found.push([path, question(rule, row, value, other)]);
      }
      if (!found.length) continue;
      const [path, text] = found[0];
      said.push({ path: rule.place ? [rule.place] : path, text: found.length > 1 ? `${text} ${found.length - 1} more like it.` : text });
      asked.add(rule.place);
    }
    return said;
  }

  function outside() {
    const problems = [];
    for (const { table, key, low, high, above, words } of burden.facts.limits || []) {
      const found = form.get([table]), rows = Array.isArray(found) ? found.map((row, i) => [[table, i, key], row]) : [[[table, key], found || {}]];
      for (const [path, row] of rows) {
        const value = number(row[key], key);
        if (value !== null && (value < low || (above && value <= low) || (high !== null && value > high))) problems.push({ path, text: say("read.limits", { limits: words }) });
      }
    }
    return problems;
  }

  burden.odd = { odd, outside };
})(window.burden = window.burden || {});
