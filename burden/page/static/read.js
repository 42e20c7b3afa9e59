"use strict";
/* What people write, read: numbers with any mark and unit, dates in any form, counts. Nothing is guessed: what can mean
   two things comes back with both. Answers: {value, said} | {either: [{value, said}…]} | {wrong: key} | {empty: true}.
   Said is what to show when the text was not already in the unit of the case file. */
(function (burden) {
  // factors to the unit of the case file; each from its definition (pound, inch and gallons by law, atomic weights of
  // N, H and O by IUPAC: N 14.007, H 1.008, O 15.999)
  const UNITS = {
    litres: { unit: "L", of: { "": 1, l: 1, litre: 1, litres: 1, liter: 1, liters: 1, ltr: 1, m3: 1000, "m³": 1000, cbm: 1000, ml: 0.001, hl: 100,
      "us gal": 3.785411784, "uk gal": 4.54609, "imp gal": 4.54609 }, either: { gal: ["us gal", "uk gal"], gallon: ["us gal", "uk gal"], gallons: ["us gal", "uk gal"] } },
    grams: { unit: "g", of: { "": 1, g: 1, gr: 1, gram: 1, grams: 1, kg: 1000, kilo: 1000, mg: 0.001, lb: 453.59237, lbs: 453.59237, pound: 453.59237, pounds: 453.59237, oz: 28.349523125 } },
    millimetres: { unit: "mm", of: { "": 1, mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, "″": 25.4 } },
    metres: { unit: "m", of: { "": 1, m: 1, cm: 0.01, mm: 0.001, ft: 0.3048, feet: 0.3048, foot: 0.3048, "'": 0.3048, "′": 0.3048 } },
    celsius: { unit: "°C", of: { "": 1, c: 1, "°c": 1, "°": 1 }, other: { f: fahrenheit, "°f": fahrenheit } },
    mg_l: { unit: "mg/L", of: { "": 1, "mg/l": 1, ppm: 1, "g/m3": 1, "µg/l": 0.001, "ug/l": 0.001, ppb: 0.001, "g/l": 1000 } },
    dose: { unit: "mg/L", of: { "": 1, "mg/l": 1, ppm: 1, "g/m3": 1, "µg/l": 0.001, "g/l": 1000, "mg/kg": "mg_per_kg_fish", g: "grams", kg: "kilograms" } },
    ammonia: { unit: "mg/L N", digits: 4, of: { "": 1, "mg/l": 1, "mg/l n": 1, n: 1, ppm: 1, "mg/l nh4": 14.007 / 18.039, nh4: 14.007 / 18.039, "mg/l nh3": 14.007 / 17.031, nh3: 14.007 / 17.031, "µg/l": 0.001 } },
    nitrite: { unit: "mg/L N", digits: 4, of: { "": 1, "mg/l": 1, "mg/l n": 1, n: 1, ppm: 1, "mg/l no2": 14.007 / 46.005, no2: 14.007 / 46.005, "µg/l": 0.001 } },
    g_l: { unit: "g/L", of: { "": 1, "g/l": 1, "‰": 1, ppt: 1, "%": 10, "kg/m3": 1, "mg/l": 0.001 } },
    dkh: { unit: "°dKH", digits: 4, of: { "": 1, dkh: 1, "°dkh": 1, kh: 1, "°kh": 1, "mg/l": 1 / 17.8, ppm: 1 / 17.8 } },
    share: { unit: "", of: { "": 1, "%": 0.01 } },
    percent: { unit: "%", of: { "": 1, "%": 1 } },
    hours: { unit: "h", of: { "": 1, h: 1, hour: 1, hours: 1, min: 1 / 60, minutes: 1 / 60, d: 24, day: 24, days: 24 } },
    days: { unit: "d", of: { "": 1, d: 1, day: 1, days: 1, week: 7, weeks: 7, h: 1 / 24 } },
    degrees: { unit: "°", of: { "": 1, "°": 1, n: 1, "°n": 1, s: -1, "°s": -1 } },
    plain: { unit: "", of: { "": 1 } },
  };
  function fahrenheit(value) { return (value - 32) / 1.8; }

  const tidy = (x, digits) => Number(Number(x).toPrecision(digits || 6));

  /* A number at the start of a text and what follows it; null where there is none. `either` where a mark may be one of
     thousands or of decimals: 16.000 and 16,000. */
  function leading(text) {
    const found = /^([+\-−]?)\s*((?:\d[\d  \s'’]*)?\d?(?:[.,]\d+)*)\s*(.*)$/u.exec(text.trim());
    if (!found || !/\d/.test(found[2])) return null;
    const sign = found[1] === "-" || found[1] === "−" ? -1 : 1;
    const digits = found[2].replace(/[  \s'’]/gu, "");
    const marks = digits.match(/[.,]/g) || [];
    const rest = found[3].trim();
    if (marks.length === 0) return { values: [sign * Number(digits)], rest };
    if (new Set(marks).size === 2) {
      const last = marks[marks.length - 1], other = last === "." ? /,/g : /\./g;
      if (marks.filter((m) => m === last).length > 1) return null;
      return { values: [sign * Number(digits.replace(other, "").replace(last, "."))], rest };
    }
    const parts = digits.split(/[.,]/);
    const grouped = parts.slice(1).every((p) => p.length === 3) && parts[0].length <= 3 && parts[0] !== "" && !/^0/.test(parts[0]);
    if (marks.length > 1) return grouped ? { values: [sign * Number(parts.join(""))], rest } : null;
    const decimal = sign * Number(`${parts[0] || 0}.${parts[1]}`);
    return grouped ? { values: [sign * Number(parts.join("")), decimal], rest } : { values: [decimal], rest };
  }

  /* Read a number with its unit. `prefer` "whole": of two readings of a mark, one that is no whole number is none. */
  function number(text, quantity, whole) {
    if (!text.trim()) return { empty: true };
    const kind = UNITS[quantity], found = leading(text);
    if (!found) return { wrong: "number" };
    const unit = found.rest.toLowerCase().replace(/\s+/g, " ").replace(/μ/g, "µ").replace(/\.$/, "").replace(/ as /, " ");
    let readings = [];
    for (const value of found.values) {
      if (kind.either && unit in kind.either) {
        for (const one of kind.either[unit]) readings.push({ value: tidy(value * kind.of[one]), from: `${value} ${one}` });
      } else if (kind.other && unit in kind.other) {
        readings.push({ value: Math.round(kind.other[unit](value) * 100) / 100, from: `${value} ${found.rest}` });
      } else if (unit in kind.of) {
        const factor = kind.of[unit];
        if (typeof factor === "string") readings.push({ value, as: factor, from: `${value} ${found.rest}` });
        else readings.push({ value: factor === 1 ? value : tidy(value * factor, kind.digits), from: factor === 1 ? "" : `${value} ${found.rest}` });
      } else return { wrong: "unit", unit: found.rest };
    }
    if (whole) readings = readings.filter((r) => Number.isInteger(r.value));
    if (!readings.length) return { wrong: "whole" };
    readings.forEach((r) => { r.unit = kind.unit; });
    return readings.length === 1 ? readings[0] : { either: readings };
  }

  const pad = (n) => String(n).padStart(2, "0");
  const iso = (d) => `${d.getFullYear()}-${pad(d.getMonth() + 1)}-${pad(d.getDate())}`;
  function fromIso(text) { const [y, m, d] = text.split("-").map(Number); return new Date(y, m - 1, d, 12); }
  function shifted(day, by) { const d = fromIso(day); d.setDate(d.getDate() + by); return iso(d); }
  function between(a, b) { return Math.round((fromIso(b) - fromIso(a)) / 86400000); }
  function real(y, m, d) {
    const when = new Date(y, m - 1, d, 12);
    return when.getFullYear() === y && when.getMonth() === m - 1 && when.getDate() === d ? iso(when) : null;
  }

  /* Read a date; a year left out is the one that brings it nearest to `near`, on the `side` of it: past or later. */
  function date(text, near, side, months) {
    const said = text.trim().toLowerCase().replace(/(\d)(st|nd|rd|th)\b/g, "$1").replace(/[,]/g, " ").replace(/\s+/g, " ").replace(/^(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.? (?=\d)/, "").replace(/\.$/, "");
    if (!said) return { empty: true };
    const words = burden.text ? burden.text.read : {};
    if (said === (words.today || "today")) return { value: burden.today() };
    if (said === (words.yesterday || "yesterday")) return { value: shifted(burden.today(), -1) };
    if (said === (words.tomorrow || "tomorrow")) return { value: shifted(burden.today(), 1) };
    const ago = /^(\d{1,3}|a|an|one|two|three|four|six) (day|week|month)s? ago$/.exec(said);
    if (ago) {
      const many = { a: 1, an: 1, one: 1, two: 2, three: 3, four: 4, six: 6 }[ago[1]] || Number(ago[1]);
      return { value: shifted(near, -many * { day: 1, week: 7, month: 30 }[ago[2]]), from: said };
    }
    let m = /^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[t ].*)?$/.exec(said);
    if (m) return dated([[+m[1], +m[2], +m[3]]]);
    m = /^(\d{1,2})([./-])(\d{1,2})(?:[./-](\d{2}|\d{4}))?$/.exec(said);
    if (m) {
      const year = m[4] === undefined ? null : m[4].length === 2 ? 2000 + +m[4] : +m[4];
      const orders = m[2] === "." ? [[+m[3], +m[1]]] : [[+m[3], +m[1]], [+m[1], +m[3]]];
      return dated(orders.map(([month, day]) => [year, month, day]));
    }
    m = /^(\d{1,2})[. ]*([a-zà-ÿ]{3,})\.?(?: (\d{2}|\d{4}))?$/.exec(said) || null;
    if (m) return named(m[2], +m[1], m[3]);
    m = /^([a-zà-ÿ]{3,})\.? (\d{1,2})(?: (\d{2}|\d{4}))?$/.exec(said);
    return m ? named(m[1], +m[2], m[3]) : { wrong: "date" };

    function named(word, day, year) {
      const all = months || burden.months;
      const month = all.findIndex((name) => name.toLowerCase().startsWith(word.slice(0, Math.max(3, word.length)))) + 1;
      if (!month) return { wrong: "date" };
      return dated([[year === undefined ? null : year.length === 2 ? 2000 + +year : +year, month, day]]);
    }
    function dated(options) {
      const found = [];
      for (const [year, month, day] of options) {
        const one = year === null ? nearest(month, day) : real(year, month, day);
        if (one && !found.includes(one)) found.push(one);
      }
      if (!found.length) return { wrong: "date" };
      if (found.length === 1) return { value: found[0], from: said };
      return { either: found.map((value) => ({ value, from: said })) };
    }
    function nearest(month, day) {
      const year = fromIso(near).getFullYear();
      const all = [year - 1, year, year + 1].map((y) => real(y, month, day)).filter(Boolean);
      const allowed = all.filter((one) => (side === "past" ? one <= near : side === "later" ? one >= near : true));
      const from = allowed.length ? allowed : all;
      return from.sort((a, b) => Math.abs(between(a, near)) - Math.abs(between(b, near)))[0] || null;
    }
  }

  /* Read a count of flukes: 12, >50, 50+, 10-20. The value is how the case file has it. */
  function count(text) {
    const said = text.trim().replace(/\s+/g, "").replace(/[–—−]/g, "-").replace(/to/i, "-");
    if (!said) return { empty: true };
    if (/^\d{1,6}$/.test(said)) return { value: String(Number(said)) };
    let m = /^(?:>|>=|≥|over|more|morethan)(\d{1,6})$/i.exec(said);
    if (m) return { value: (/^(>=|≥)/.test(said) ? ">=" : ">") + Number(m[1]) };
    m = /^(\d{1,6})\+$/.exec(said);
    if (m) return { value: `>=${Number(m[1])}` };
    m = /^(\d{1,6})-(\d{1,6})$/.exec(said);
    if (m) return Number(m[1]) <= Number(m[2]) ? { value: `${Number(m[1])}-${Number(m[2])}` } : { wrong: "order" };
    return { wrong: "count" };
  }

  Object.assign(burden, { UNITS, read: { number, date, count, leading }, iso, fromIso, shifted, between });
  burden.today = () => iso(new Date());
  burden.months = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
})(window.burden = window.burden || {});
