"use strict";
/* Elements, texts and drafts: what every screen of the page shares. Text goes in as text, never as markup. */
(function (burden) {
  const data = (id) => { const node = document.getElementById(id); return node ? JSON.parse(node.textContent) : {}; };
  burden.text = data("text");
  burden.facts = data("facts");

  /* Text of the catalogue with its gaps filled. */
  burden.say = function (path, gaps) {
    let found = burden.text;
    for (const part of path.split(".")) found = found === undefined ? undefined : found[part];
    if (typeof found !== "string") return path;
    return found.replace(/\{(\w+)\}/g, (whole, name) => (gaps && name in gaps ? String(gaps[name]) : whole));
  };

  /* An element; attributes that begin with "on" are listeners, true is an empty attribute, null and false are left out. */
  burden.h = function (tag, attributes, ...children) {
    const node = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else if (name === "value" || name === "checked" || name === "disabled") node[name] = value;
      else node.setAttribute(name, value === true ? "" : String(value));
    }
    for (const child of children.flat(Infinity)) {
      if (child !== null && child !== undefined && child !== false) node.append(child);
    }
    return node;
  };

  /* A number and its unit never part where a line ends; as unbroken() of the report. */
  const beforeUnit = /(\d) (?=(?:%|°C|mg|g|kg|t|mL|L|m³|mm|min|h|d|mS)(?![\w³]))/g;
  burden.unbroken = (text) => String(text).replace(/(\d) (?=\d{3}(?!\d))/g, "$1\u202f").replace(beforeUnit, "$1\u00a0");

  burden.plain = function (value) {
    if (typeof value !== "number") return String(value);
    const [whole, part] = String(Number(value.toPrecision(Number.isInteger(value) ? 15 : 6))).split(".");
    const spaced = whole.replace(/\B(?=(\d{3})+$)/g, "\u00a0");
    return part === undefined ? spaced : `${spaced}.${part}`;
  };
  /* A figure that something comes to: no more digits than anybody measured. */
  burden.rounded = (value, digits) => burden.plain(Number(Number(value).toPrecision(digits || 4)));

  burden.dayWords = function (day, long) {
    const when = burden.fromIso(day);
    return when.toLocaleDateString(burden.text.language, long ? { weekday: "short", day: "numeric", month: "short", year: "numeric" } : { weekday: "short", day: "numeric", month: "short" });
  };

  /* Ask the program behind the page; anything but its answer is an error with `status`, 0 where nobody answered. */
  burden.ask = async function (path, body) {
    const options = body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
    let answer;
    try { answer = await fetch(path, { credentials: "same-origin", cache: "no-store", ...options }); } catch (failure) { return { status: 0 }; }
    let found = {};
    try { found = await answer.json(); } catch (failure) { /* an empty answer */ }
    return { status: answer.status, ...found };
  };

  burden.later = function (work, after) {
    let timer = null;
    const run = (...args) => { clearTimeout(timer); timer = setTimeout(() => { timer = null; work(...args); }, after); };
    run.now = (...args) => { clearTimeout(timer); timer = null; work(...args); };
    return run;
  };

  /* Drafts: one a case and window, so that two windows never write over each other's. */
  const PREFIX = "burden:draft:";
  function windowName() {
    let name = null;
    try { name = sessionStorage.getItem("burden:window"); } catch (failure) { return "only"; }
    if (!name) {
      name = Math.random().toString(36).slice(2, 10);
      sessionStorage.setItem("burden:window", name);
    }
    return name;
  }
  burden.drafts = {
    key: (name) => `${PREFIX}${burden.facts.folder || ""}:${name}:${windowName()}`,
    put(name, draft) {
      try { localStorage.setItem(this.key(name), JSON.stringify({ ...draft, at: Date.now() })); return true; } catch (failure) { return false; }
    },
    mine(name) { return this.at(this.key(name)); },
    at(key) { try { return JSON.parse(localStorage.getItem(key)); } catch (failure) { return null; } },
    drop(key) { try { localStorage.removeItem(key); } catch (failure) { /* nothing kept */ } },
    of(name) {
      const head = `${PREFIX}${burden.facts.folder || ""}:${name}:`, found = [];
      try {
        for (let i = 0; i < localStorage.length; i += 1) {
          const key = localStorage.key(i);
          if (key.startsWith(head) && this.at(key)) found.push({ key, ...this.at(key) });
        }
      } catch (failure) { return []; }
      return found.sort((a, b) => b.at - a.at);
    },
    all() {
      const head = `${PREFIX}${burden.facts.folder || ""}:`, found = [];
      try {
        for (let i = 0; i < localStorage.length; i += 1) {
          const key = localStorage.key(i);
          if (key.startsWith(head)) found.push({ key, name: key.slice(head.length, key.lastIndexOf(":")), ...this.at(key) });
        }
      } catch (failure) { return []; }
      return found.sort((a, b) => b.at - a.at);
    },
  };
})(window.burden = window.burden || {});
