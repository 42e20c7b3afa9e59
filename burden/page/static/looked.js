"use strict";
/* Fish by fish: how it was chosen, what was put on the slide, and the count by a large plus. */
(function (burden) {
  const { h, say, plain, form, fields } = burden;
  const visit = () => form.get(["case", "visit_date"]) || burden.today();
  const METHOD = { gill: ["gill_clip", "gill_arch", "whole_organ"], skin: ["skin_scrape", "whole_organ"], fin: ["skin_scrape", "whole_organ"], whole_fish: ["whole_organ"] };

  /* Rows of the visit by fish, in the order they stand; each with its place in the log. */
  function fishOfToday() {
    const found = new Map();
    (form.get(["samples"]) || []).forEach((row, i) => {
      if (row.date !== visit()) return;
      if (!found.has(row.fish)) found.set(row.fish, []);
      found.get(row.fish).push(i);
    });
    return [...found.entries()];
  }

  const sets = () => { const told = form.get(["parasite", "set"]); return Array.isArray(told) ? told : told ? [told] : []; };

  /* The set that lives on these fish, in this water, at the site looked at; one the owner chose stays. */
  burden.suggestSet = function () {
    if (form.setChosen || (sets().length && !form.setSuggested)) return;
    const species = String(form.get(["fish", 0, "species"]) || "").toLowerCase(), medium = form.get(["water", "medium"]);
    const stems = (words) => (words.toLowerCase().match(/[a-zà-ÿ]{3,}/g) || []).map((word) => word.slice(0, 4)).filter((word) => !["fish", "and", "othe"].includes(word));
    const mine = new Set(stems(species));
    const fits = burden.facts.parasites.filter((one) => one.hosts.some((host) => stems(host).some((stem) => mine.has(stem))) && (!medium || !one.water || one.water === medium));
    if (!fits.length) return;
    const site = (form.get(["samples"]) || []).some((row) => row.site === "gill") || !(form.get(["samples"]) || []).length ? "gill" : "skin";
    const best = fits.find((one) => one.site === site) || fits[0];
    form.setSuggested = best.name;
    form.set(["parasite", "set"], best.name);
  };

  burden.drawLooked = function () {
    burden.suggestSet();
    const all = fishOfToday(), earlier = (form.get(["samples"]) || []).length - all.reduce((sum, [, rows]) => sum + rows.length, 0);
    const open = all.some(([label]) => label === form.openFish) ? form.openFish : all.length ? all[all.length - 1][0] : null;
    return [
      whichSet(),
      all.map(([label, rows]) => (label === open ? openCard(label, rows) : closedCard(label, rows))),
      fields.button(say("looked.add_fish"), () => addFish(all), { class: "add main", id: "add-fish" }),
      earlier ? h("p", { class: "hint" }, say("looked.earlier", { count: earlier })) : null,
      clip(),
      seenElse(),
      h("div", { class: "field", "data-path": '["samples"]' }, h("p", { class: "problem", id: "f-samples-problem", "aria-live": "polite" })),
    ];
  };

  function whichSet() {
    const medium = form.get(["water", "medium"]);
    const known = burden.facts.parasites.filter((one) => !medium || !one.water || one.water === medium || sets().includes(one.name));
    const chosen = fields.choice(["parasite", "set"], say("looked.parasite"), known.map((one) => [one.name, `${one.words}${one.name === form.setSuggested && sets().includes(one.name) ? ` (${say("looked.suggested")})` : ""}`]), {
      many: true, redraws: true, hint: say("looked.parasite_hint"),
    });
    chosen.addEventListener("change", () => { form.setChosen = true; const now = sets(); if (now.length === 1) form.set(["parasite", "set"], now[0]); });
    const summary = sets().map((name) => (burden.facts.parasites.find((one) => one.name === name) || { words: name }).words).join(", ");
    return h("details", { open: !sets().length, id: "which-set" }, h("summary", {}, `${say("looked.parasite")}: ${summary || "–"}`), chosen,
      fields.more(say("frame.more"), fields.yesNo(["parasite", "gill_flukes_on_skin"], say("looked.gill_flukes_on_skin"))));
  }

  function addFish(all) {
    const labels = all.map(([label]) => label), rows = form.get(["samples"]) || [];
    let label = all.length + 1;
    while (labels.includes(String(label))) label += 1;
    const before = all.length ? all[all.length - 1][1].map((i) => rows[i]) : [{ site: "gill", method: "gill_clip" }];
    for (const old of before) {
      const row = { date: visit(), fish: String(label), site: old.site, count: null };
      for (const name of ["chosen", "method", "parasite", "stage", "fraction_examined", "species"]) if (old[name] !== undefined) row[name] = old[name];
      form.set(["samples", (form.get(["samples"]) || []).length], row);
    }
    form.openFish = String(label);
    form.redraw(`fish-${label}`);
  }

  const shown = (row) => (row.count === null ? say("looked.not_counted") : row.count === "" || row.count === undefined ? say("looked.unreadable") : row.count);

  function closedCard(label, rows) {
    const told = rows.map((i) => form.get(["samples", i]));
    const words = told.map((row) => `${say(`choice.site.${row.site}`)} ${shown(row)}`).join(", ");
    return h("section", { class: "card closed" }, h("button", {
      type: "button", class: "wide", id: `fish-${label}`, "aria-expanded": "false",
      onclick: () => { form.openFish = label; form.redraw(`fish-${label}`); },
    }, h("b", {}, say("looked.fish", { number: label })), ` ${told[0].chosen ? say(`choice.chosen.${told[0].chosen}`) : "–"} · ${words}`));
  }

  function openCard(label, rows) {
    const first = rows[0];
    const forAll = (name) => (value) => { rows.forEach((i) => form.set(["samples", i, name], value)); };
    return h("section", { class: "card", id: `fish-${label}`, tabindex: "-1", "aria-label": say("looked.fish", { number: label }) },
      h("h3", {}, say("looked.fish", { number: label })),
      fields.choice(["samples", first, "chosen"], say("looked.chosen"), fields.words("chosen"), { put: forAll("chosen"), redraws: true }),
      rows.map((i) => slide(i)),
      fields.button(say("looked.add_slide"), () => {
        const row = { ...form.get(["samples", rows[rows.length - 1]]), count: null, site: form.get(["samples", first, "site"]) === "gill" && rows.length === 1 ? "skin" : form.get(["samples", first, "site"]) };
        row.method = METHOD[row.site][0];
        delete row.fraction_examined;
        form.fields.samples.splice(rows[rows.length - 1] + 1, 0, row);
        form.forget(["samples"]);
        form.changed();
        form.redraw();
      }, { class: "add" }),
      fields.more(say("frame.more"),
        fields.number(["samples", first, "weight_g"], say("looked.weight_g"), "grams", { show: (value) => value || "", put: (value) => forAll("weight_g")(value === undefined ? undefined : String(value)) }),
        fields.yesNo(["samples", first, "lethal"], say("looked.lethal"), { put: forAll("lethal") }),
        form.get(["samples", first, "chosen"]) === "dead" ? fields.number(["samples", first, "hours_dead"], say("looked.hours_dead"), "hours", { show: (value) => value || "", put: (value) => forAll("hours_dead")(value === undefined ? undefined : String(value)) }) : null,
        fields.button(say("frame.remove"), () => {
          form.fields.samples = form.fields.samples.filter((_, i) => !rows.includes(i));
          form.forget(["samples"]);
          form.changed();
          form.redraw();
        })));
  }

  function slide(i) {
    const at = (name) => ["samples", i, name], row = form.get(["samples", i]), many = sets().length > 1;
    return h("section", { class: "slide", "aria-label": say(`choice.site.${row.site || "gill"}`) },
      fields.choice(at("site"), say("looked.site"), fields.words("site"), { redraws: true, put: (site) => { form.set(at("site"), site); form.set(at("method"), METHOD[site][0]); } }),
      (METHOD[row.site] || []).length > 1 ? fields.choice(at("method"), say("looked.method"), fields.words("method", METHOD[row.site]), { class: "small" }) : null,
      counter(i),
      many ? fields.choice(at("parasite"), say("looked.which"), sets().map((name) => [name, name]), {}) : null,
      fields.more(say("frame.more"),
        fields.choice(at("stage"), say("looked.stage"), fields.words("stage"), { none: true }),
        fields.number(at("fraction_examined"), say("looked.fraction_examined"), "share", { show: (value) => value || "", put: (value) => form.set(at("fraction_examined"), value === undefined ? undefined : String(value)), hint: say("water.exchange_hint") }),
        fields.button(say("frame.remove"), () => { form.forget(["samples"]); form.set(["samples", i], undefined); form.redraw(); })));
  }

  function counter(i) {
    const path = ["samples", i, "count"], id = fields.id(path);
    const put = (value) => {
      form.set(path, value);
      delete form.raw[fields.key(path)];
      delete form.wrong[fields.key(path)];
      const row = form.get(["samples", i]);
      document.getElementById(id).value = row.count || "";
      document.getElementById(`${id}-said`).textContent = shown(row);
      form.showNotes();
    };
    const whole = () => { const row = form.get(["samples", i]); return /^\d+$/.test(row.count || "") ? Number(row.count) : 0; };
    const input = h("input", {
      id, type: "text", inputmode: "text", autocomplete: "off", value: form.raw[fields.key(path)] || form.get(path) || "", "aria-describedby": `${id}-hint ${id}-means ${id}-problem`,
      oninput: () => {
        const found = burden.read.count(input.value);
        delete form.wrong[fields.key(path)];
        form.raw[fields.key(path)] = input.value;
        if (found.wrong) { form.wrong[fields.key(path)] = say(`read.${found.wrong}`); form.changed(); } else {
          delete form.raw[fields.key(path)];
          form.set(path, found.empty ? null : found.value);
        }
        document.getElementById(`${id}-said`).textContent = found.wrong ? "" : shown(form.get(["samples", i]));
      },
      onblur: () => { form.touched[fields.key(path)] = true; form.showNotes(); },
    });
    return h("div", { class: "field counter", "data-path": JSON.stringify(path) },
      h("label", { for: id }, say("looked.count")),
      h("div", { class: "entry" },
        fields.button("−", () => put(String(Math.max(0, whole() - 1))), { class: "round", label: say("looked.minus") }),
        h("output", { class: "big", id: `${id}-said`, "aria-live": "polite" }, shown(form.get(["samples", i]))),
        fields.button("+", () => put(String(whole() + 1)), { class: "round plus", label: say("looked.plus"), id: `${id}-plus` })),
      h("div", { class: "picks" },
        fields.button(say("looked.none_seen"), () => put("0"), { class: "chip" }),
        fields.button(say("looked.over_50"), () => put(">50"), { class: "chip" }),
        fields.button(say("looked.unreadable"), () => put(""), { class: "chip" }),
        input),
      h("p", { class: "hint", id: `${id}-hint` }, say("looked.count_hint")),
      h("p", { class: "means", id: `${id}-means` }), h("p", { class: "problem", id: `${id}-problem`, "aria-live": "polite" }));
  }

  function clip() {
    if (!(form.get(["samples"]) || []).some((row) => row.method === "gill_clip" && row.date === visit())) return null;
    const path = ["looking", "gill_clip_share"], told = form.get(path), pieces = told && typeof told === "object" && "pieces" in told ? told : null;
    const put = (name) => (value) => form.set(path, value === undefined && name === "pieces" ? undefined : { pieces: 15, of: "tips", ...(pieces || form.get(path) || {}), [name]: value });
    const share = form.checked && form.checked.clip;
    return fields.more(`${say("looked.clip")}${share ? `: ${say("looked.clip_result", { value: plain(share[0] * 100), low: plain(share[1] * 100), high: plain(share[2] * 100) })}` : ""}`,
      fields.number(["clip", "pieces"], say("looked.clip_pieces"), "plain", { show: () => (pieces ? plain(pieces.pieces) : ""), put: put("pieces") }),
      fields.choice(["clip", "of"], say("looked.clip_of"), fields.words("clip_of"), { same: () => false, put: put("of") }));
  }

  function seenElse() {
    const at = (name) => ["findings", name];
    return h("section", { "aria-label": say("looked.seen_else") }, h("h3", {}, say("looked.seen_else")),
      fields.choice(at("gill_colour"), say("looked.gill_colour"), fields.words("gill_colour"), { none: true }),
      fields.yesNo(at("gill_mucus"), say("looked.gill_mucus")),
      fields.yesNo(at("gill_swollen"), say("looked.gill_swollen")),
      fields.choice(at("other"), say("looked.other"), fields.words("other"), { many: true }),
      fields.more(say("frame.more"),
        fields.number(at("haematocrit_percent"), say("looked.haematocrit_percent"), "percent"),
        fields.yesNo(at("anaemia"), say("looked.anaemia")),
        fields.text(at("note"), say("looked.note"), { long: true })));
  }
})(window.burden = window.burden || {});
