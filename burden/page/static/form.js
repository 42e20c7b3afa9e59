"use strict";
/* The form's state and its fields: one value at one path of the case, what was typed for it, and what is wrong with it. */
(function (burden) {
  const { h, say, plain } = burden;
  const form = {
    fields: null, raw: {}, wrong: {}, touched: {}, step: 0, seen: null, name: null, checked: null, showAll: false,
    changed() {}, redraw() {},
  };
  burden.form = form;

  const key = (path) => path.join(".");
  const id = (path) => `f-${path.join("-")}`;

  form.get = function (path) {
    let found = form.fields;
    for (const part of path) found = found === undefined || found === null ? undefined : found[part];
    return found === null ? undefined : found;
  };
  form.set = function (path, value) {
    let at = form.fields;
    path.slice(0, -1).forEach((part, i) => {
      if (at[part] === undefined || at[part] === null || typeof at[part] !== "object") at[part] = typeof path[i + 1] === "number" ? [] : {};
      at = at[part];
    });
    const last = path[path.length - 1];
    const removed = value === undefined && Array.isArray(at);
    if (value === undefined) { if (removed) at.splice(last, 1); else delete at[last]; } else at[last] = value;
    form.unchecked(removed ? path.slice(0, -1) : path);
    form.changed();
  };
  /* What the last check said of a path is of what stood there before. */
  form.unchecked = function (path) {
    const about = (one) => one.path.every((part, i) => i >= path.length || part === path[i]);
    for (const list of ["problems", "odd"]) if (form.checked && form.checked[list]) form.checked[list] = form.checked[list].filter((one) => !about(one));
  };
  /* Forget what was typed below a path whose entries have moved. */
  form.forget = function (path) {
    const head = key(path);
    for (const store of [form.raw, form.wrong, form.touched]) {
      for (const name of Object.keys(store)) if (name === head || name.startsWith(`${head}.`)) delete store[name];
    }
    form.unchecked(path);
  };

  /* What is wrong with a path: what could not be read first, then what the check said once the field was left. */
  form.problemsAt = function (path) {
    const at = key(path), said = [];
    if (form.wrong[at]) said.push(form.wrong[at]);
    else if (form.checked && (form.touched[at] || form.showAll)) {
      for (const problem of form.checked.problems) {
        const where = problem.path.join(".");
        if (where === at || where.startsWith(`${at}.`)) said.push(problem.text);
      }
    }
    return said;
  };

  /* What looks odd at a path and may be right. */
  form.oddAt = function (path) {
    const at = key(path), found = (form.checked && form.checked.odd) || [];
    return found.filter((one) => { const where = one.path.join("."); return where === at || where.startsWith(`${at}.`); }).map((one) => one.text);
  };

  function described(path, hint) {
    return [hint ? `${id(path)}-hint` : null, `${id(path)}-means`, `${id(path)}-problem`, `${id(path)}-odd`].filter(Boolean).join(" ");
  }
  function notes(path, hint, means) {
    return [
      hint ? h("p", { class: "hint", id: `${id(path)}-hint` }, hint) : null,
      means || h("p", { class: "means", id: `${id(path)}-means`, "aria-live": "polite" }),
      h("p", { class: "problem", id: `${id(path)}-problem`, "aria-live": "polite" }),
      h("p", { class: "asked", id: `${id(path)}-odd`, "aria-live": "polite" }),
    ];
  }
  form.showNotes = function () {
    document.querySelectorAll("[data-path]").forEach((node) => {
      const path = JSON.parse(node.dataset.path), place = document.getElementById(`${id(path)}-problem`);
      if (!place) return;
      const said = form.problemsAt(path);
      // which of two is meant is asked above, with both to tap
      place.textContent = said.filter((text) => text !== say("frame.which")).join(" ");
      const asked = document.getElementById(`${id(path)}-odd`), odd = said.length ? [] : form.oddAt(path);
      if (asked) asked.textContent = odd.length ? `${say("frame.odd")}: ${odd.join(" ")}` : "";
      node.classList.toggle("bad", said.length > 0);
      node.querySelectorAll("input, textarea, select").forEach((one) => {
        if (said.length) one.setAttribute("aria-invalid", "true"); else one.removeAttribute("aria-invalid");
      });
    });
  };

  function field(path, label, control, options) {
    return h("div", { class: `field ${options.class || ""}`, "data-path": JSON.stringify(path) },
      h("label", { for: id(path) }, label), control, notes(path, options.hint, options.means));
  }

  /* A text that is read: number with unit, date, count. `reader(text)` answers as burden.read does. */
  function readField(path, label, reader, options) {
    const shown = form.raw[key(path)] !== undefined ? form.raw[key(path)] : options.show(form.get(path));
    const input = h("input", {
      id: id(path), type: "text", inputmode: options.inputmode || "text", autocomplete: "off", autocapitalize: "off",
      value: shown, "aria-describedby": described(path, options.hint), enterkeyhint: "next",
      oninput: () => take(input.value, false),
      onblur: () => {
        form.touched[key(path)] = true;
        // what stands there as the form wrote it is not read again: "yesterday" is another day tomorrow
        if (form.raw[key(path)] !== undefined || input.value !== options.show(form.get(path))) take(input.value, true);
        form.showNotes();
      },
    });
    const means = h("p", { class: "means", id: `${id(path)}-means`, "aria-live": "polite" });
    function take(text, left) {
      const found = reader(text);
      delete form.wrong[key(path)];
      means.replaceChildren();
      if (found.empty) { delete form.raw[key(path)]; put(undefined); return; }
      form.raw[key(path)] = text;
      if (found.wrong) {
        const known = options.quantity ? Object.keys(burden.UNITS[options.quantity].of).filter(Boolean).join(", ") : "";
        form.wrong[key(path)] = say(`read.${found.wrong}`, { unit: found.unit, known });
        form.changed();
        if (left) form.showNotes();
        return;
      }
      if (found.either) {
        form.wrong[key(path)] = say("frame.which");
        form.changed();
        ask(found.either);
        return;
      }
      if (options.settles && left) { delete form.raw[key(path)]; put(found.value); input.value = options.show(found.value); return; }
      told(found);
      put(found.as ? options.other(found) : found.value);
    }
    function told(found) { if (found.from && !found.as) means.textContent = say("frame.means", { value: options.words(found) }); }
    function ask(either) {
      means.append(h("span", { class: "problem" }, say("frame.which")), " ", ...either.map((one) => h("button", {
        type: "button", class: "chip", onclick: () => { input.value = options.write(one); take(input.value, true); form.showNotes(); input.focus(); },
      }, options.either ? options.either(one) : options.words(one))));
    }
    if (form.raw[key(path)] !== undefined) { const found = reader(shown); if (found.either) ask(found.either); else told(found); }
    function put(value) { if (options.put) options.put(value); else form.set(path, value); }
    const unit = options.unit ? h("span", { class: "unit", "aria-hidden": "true" }, options.unit) : null;
    return field(path, options.unit ? [label, h("span", { class: "unheard" }, ` [${options.unit}]`)] : label,
      h("div", { class: "entry" }, options.before || null, input, unit, options.after || null), { ...options, means });
  }

  burden.fields = {
    id, key, notes,
    number(path, label, quantity, options = {}) {
      const kind = burden.UNITS[quantity];
      return readField(path, label, (text) => {
        const found = burden.read.number(text, quantity, options.whole);
        return found;
      }, {
        quantity, inputmode: "decimal", unit: kind.unit,
        show: (value) => (value === undefined ? "" : typeof value === "object" ? plain(value.value) : plain(value)),
        words: (one) => `${burden.rounded(one.value)} ${one.unit || kind.unit}`.trim(),
        either: (one) => (one.from ? `${one.from.toUpperCase().replace(" GAL", " gal")} = ` : "") + `${plain(one.value)} ${one.unit || kind.unit}`.trim(),
        write: (one) => (one.from && !/^[-\d.]+$/.test(one.from) ? one.from : String(one.value)),
        ...options,
      });
    },
    date(path, label, options = {}) {
      const near = () => form.get(["case", "visit_date"]) || burden.today();
      return readField(path, label, (text) => burden.read.date(text, options.near ? options.near() : near(), options.past ? "past" : options.later ? "later" : null), {
        show: (value) => (value === undefined ? "" : burden.dayWords(value, true)),
        words: (one) => burden.dayWords(one.value, true), write: (one) => one.value, settles: true, class: "dated",
        after: (options.chips || []).map(([words, day]) => h("button", {
          type: "button", class: "chip", onclick: () => { delete form.raw[key(path)]; delete form.wrong[key(path)]; form.touched[key(path)] = true; form.set(path, day()); form.redraw(); },
        }, words)),
        ...options,
      });
    },
    text(path, label, options = {}) {
      const tag = options.long ? "textarea" : "input";
      const input = h(tag, {
        id: id(path), value: form.get(path) || "", type: options.long ? null : "text", rows: options.long ? 3 : null, autocomplete: "off",
        "aria-describedby": described(path, options.hint), maxlength: 2000,
        oninput: () => form.set(path, input.value.trim() ? input.value : undefined),
        onblur: () => { form.touched[key(path)] = true; form.showNotes(); },
      });
      return field(path, label, input, options);
    },
    /* Whole number with a minus and a plus beside it. */
    steps(path, label, options = {}) {
      const least = options.least || 0;
      const by = (step) => () => {
        const now = options.get ? options.get() : form.get(path), next = typeof now === "number" ? Math.max(least, now + step) : step > 0 ? Math.max(least, 1) : least;
        delete form.raw[key(path)]; delete form.wrong[key(path)];
        form.touched[key(path)] = true;
        if (options.put) options.put(next); else form.set(path, next);
        document.getElementById(id(path)).value = String(next);
        form.showNotes();
      };
      return this.number(path, label, "plain", {
        whole: true, inputmode: "numeric", class: "steps",
        before: h("button", { type: "button", class: "round", "aria-label": `${label}: −1`, onclick: by(-1) }, "−"),
        after: h("button", { type: "button", class: "round", "aria-label": `${label}: +1`, onclick: by(1) }, "+"),
        ...options,
      });
    },
    /* One out of a few, or several with `many`; `none` adds a way back to "not known". */
    choice(path, label, choices, options = {}) {
      const now = form.get(path), list = Array.isArray(now) ? now : now === undefined ? [] : [now];
      const same = (value) => list.some((one) => one === value || (options.same && options.same(one, value)));
      const chips = choices.map(([value, words], i) => {
        const input = h("input", {
          type: options.many ? "checkbox" : "radio", name: id(path), id: `${id(path)}-${i}`, checked: same(value),
          onchange: () => {
            form.touched[key(path)] = true;
            if (options.many) {
              const kept = list.filter((one) => !choices.some(([other]) => other === one || (options.same && options.same(one, other))));
              const ticked = choices.filter((_, j) => document.getElementById(`${id(path)}-${j}`).checked).map(([other]) => other);
              form.set(path, kept.length + ticked.length ? [...kept, ...ticked] : undefined);
            } else if (options.put) options.put(value);
            else form.set(path, value);
            if (options.redraws) form.redraw(); else form.showNotes();
          },
        });
        return h("span", { class: "pick" }, input, h("label", { for: `${id(path)}-${i}` }, words));
      });
      if (options.none || options.usual) {
        const input = h("input", {
          type: "radio", name: id(path), id: `${id(path)}-none`, checked: now === undefined,
          onchange: () => { form.set(path, undefined); if (options.redraws) form.redraw(); else form.showNotes(); },
        });
        chips.push(h("span", { class: "pick open" }, input, h("label", { for: `${id(path)}-none` }, say(options.usual ? "frame.as_usual" : "frame.not_known"))));
      }
      return h("fieldset", { class: `field ${options.class || ""}`, "data-path": JSON.stringify(path), "aria-describedby": described(path, options.hint) },
        h("legend", {}, label), h("div", { class: "picks" }, chips), notes(path, options.hint));
    },
    yesNo(path, label, options = {}) {
      return this.choice(path, label, [["yes", say("frame.yes")], ["no", say("frame.no")]], {
        same: (one, value) => (one === true ? "yes" : one === false ? "no" : String(one).toLowerCase()) === value, none: true, ...options,
      });
    },
    words: (group, names) => (names || Object.keys(burden.text.choice[group])).map((name) => [name, say(`choice.${group}.${name}`)]),
    more: (label, ...children) => h("details", {}, h("summary", {}, label), children),
    button: (words, action, options = {}) => h("button", { type: "button", class: options.class || "plain", id: options.id || null, "aria-label": options.label || null, onclick: action }, words),
  };
})(window.burden = window.burden || {});
