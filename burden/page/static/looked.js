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
      gillsOf(label),
      fields.number(["samples", first, "weight_g"], say("looked.weight_g"), "grams", { show: (value) => value || "", put: (value) => forAll("weight_g")(value === undefined ? undefined : String(value)) }),
      fields.more(say("frame.more"),
        fields.yesNo(["samples", first, "lethal"], say("looked.lethal"), { put: forAll("lethal") }),
        form.get(["samples", first, "chosen"]) === "dead" ? fields.number(["samples", first, "hours_dead"], say("looked.hours_dead"), "hours", { show: (value) => value || "", put: (value) => forAll("hours_dead")(value === undefined ? undefined : String(value)) }) : null,
        fields.button(say("frame.remove"), () => {
          form.fields.samples = form.fields.samples.filter((_, i) => !rows.includes(i));
          const gills = (form.get(["findings", "fish"]) || []).filter((one) => String(one.fish) !== label);
          form.set(["findings", "fish"], gills.length ? gills : undefined);
          form.forget(["samples"]);
          form.changed();
          form.redraw();
        })));
  }

  /* Signs of the gills of one fish, a tap each; nothing odd is a tap too. */
  const SIGNS = { pale: ["gill_colour", "pale"], brown: ["gill_colour", "brown"], mucus: ["gill_mucus", "yes"], swollen: ["gill_swollen", "yes"] };
  const SOUND = { gill_colour: "normal", gill_mucus: "no", gill_swollen: "no" };
  const yes = (value) => (value === true ? "yes" : value === false ? "no" : value);

  function gillsOf(label) {
    const path = ["findings", "fish"], all = form.get(path) || [], found = all.findIndex((one) => String(one.fish) === label);
    const now = found < 0 ? {} : all[found];
    const sound = Object.entries(SOUND).every(([name, value]) => yes(now[name]) === value);
    const ticked = (sign) => (sign === "sound" ? sound : yes(now[SIGNS[sign][0]]) === SIGNS[sign][1]);
    const put = (signs) => {
      const others = all.filter((_, i) => i !== found), kept = Object.keys(signs).length;
      form.set(path, others.length || kept ? [...others, ...(kept ? [{ fish: label, ...signs }] : [])] : undefined);
      form.redraw();
    };
    const tap = (sign) => {
      if (sign === "sound") { put(sound ? {} : { ...SOUND }); return; }
      const [name, value] = SIGNS[sign], signs = Object.fromEntries(Object.entries(now).filter(([key]) => key !== "fish" && !(sound && key in SOUND)));
      if (yes(signs[name]) === value) delete signs[name]; else signs[name] = value;
      put(signs);
    };
    const id = `gills-${label}`;
    return h("fieldset", { class: "field", "data-path": JSON.stringify(["findings", "fish", found < 0 ? all.length : found]) },
      h("legend", {}, say("looked.gills_of_fish")),
      h("div", { class: "picks" }, ["sound", ...Object.keys(SIGNS)].map((sign) => h("span", { class: "pick" },
        h("input", { type: "checkbox", id: `${id}-${sign}`, checked: ticked(sign), onchange: () => tap(sign) }), h("label", { for: `${id}-${sign}` }, say(`looked.sign_${sign}`))))),
      fields.notes(["findings", "fish", found < 0 ? all.length : found]));
  }

  function slide(i) {
    const at = (name) => ["samples", i, name], row = form.get(["samples", i]), many = sets().length > 1;
    const taken = [
      fields.choice(at("site"), say("looked.site"), fields.words("site"), { redraws: true, put: (site) => { form.set(at("site"), site); form.set(at("method"), METHOD[site][0]); } }),
      (METHOD[row.site] || []).length > 1 ? fields.choice(at("method"), say("looked.method"), fields.words("method", METHOD[row.site]), { class: "small" }) : null,
    ];
    return h("section", { class: "slide", "aria-label": say(`choice.site.${row.site || "gill"}`) },
      plainlyLikeBefore(i) ? fields.more(`${say(`choice.site.${row.site}`)}, ${say(`choice.method.${row.method}`)}`, taken) : taken,
      counter(i),
      many ? fields.choice(at("parasite"), say("looked.which"), sets().map((name) => [name, name]), {}) : null,
      fields.more(say("frame.more"),
        fields.choice(at("stage"), say("looked.stage"), fields.words("stage"), { none: true }),
        fields.number(at("fraction_examined"), say("looked.fraction_examined"), "share", { show: (value) => value || "", put: (value) => form.set(at("fraction_examined"), value === undefined ? undefined : String(value)), hint: say("water.exchange_hint") }),
        fields.button(say("frame.remove"), () => { form.forget(["samples"]); form.set(["samples", i], undefined); form.redraw(); })));
  }

  /* A slide of a later fish, taken as those before: folded, so that the plus stands where the thumb is. */
  function plainlyLikeBefore(i) {
    const rows = form.get(["samples"]), row = rows[i];
    return Boolean(row.method) && rows.slice(0, i).some((one) => one.date === row.date && one.fish !== row.fish && one.site === row.site && one.method === row.method);
  }

  /* A count stands large, words of it do not. */
  function sayCount(place, text) {
    place.textContent = text;
    place.classList.toggle("worded", !/\d/.test(text));
    return place;
  }

  function counter(i) {
    const path = ["samples", i, "count"], id = fields.id(path);
    const put = (value) => {
      form.set(path, value);
      delete form.raw[fields.key(path)];
      delete form.wrong[fields.key(path)];
      const row = form.get(["samples", i]);
      document.getElementById(id).value = row.count || "";
      sayCount(document.getElementById(`${id}-said`), shown(row));
      form.showNotes();
    };
    const whole = () => { const row = form.get(["samples", i]); return /^\d+$/.test(row.count || "") ? Number(row.count) : 0; };
    const input = h("input", {
      id, type: "text", inputmode: "text", autocomplete: "off", value: form.raw[fields.key(path)] || form.get(path) || "", "aria-describedby": `${id}-hint ${id}-means ${id}-problem ${id}-odd`,
      oninput: () => {
        const found = burden.read.count(input.value);
        delete form.wrong[fields.key(path)];
        form.raw[fields.key(path)] = input.value;
        if (found.wrong) { form.wrong[fields.key(path)] = say(`read.${found.wrong}`); form.changed(); } else {
          delete form.raw[fields.key(path)];
          form.set(path, found.empty ? null : found.value);
        }
        sayCount(document.getElementById(`${id}-said`), found.wrong ? "" : shown(form.get(["samples", i])));
      },
      onblur: () => { form.touched[fields.key(path)] = true; form.showNotes(); },
    });
    return h("div", { class: "field counter", "data-path": JSON.stringify(path) },
      h("label", { for: id }, say("looked.count")),
      h("div", { class: "entry" },
        fields.button("−", () => put(String(Math.max(0, whole() - 1))), { class: "round", label: say("looked.minus") }),
        sayCount(h("output", { class: "big", id: `${id}-said`, "aria-live": "polite" }), shown(form.get(["samples", i]))),
        fields.button("+", () => put(String(whole() + 1)), { class: "round plus", label: say("looked.plus"), id: `${id}-plus` })),
      h("div", { class: "picks" },
        fields.button(say("looked.none_seen"), () => put("0"), { class: "chip" }),
        fields.button(say("looked.over_50"), () => put(">50"), { class: "chip" }),
        fields.button(say("looked.unreadable"), () => put(""), { class: "chip" }),
        input),
      h("p", { class: "hint", id: `${id}-hint` }, say("looked.count_hint")),
      fields.notes(path));
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
      fields.choice(at("other"), say("looked.other"), fields.words("other"), { many: true }),
      fields.more(say("frame.more"),
        h("p", { class: "hint" }, say("looked.of_all_hint")),
        fields.choice(at("gill_colour"), say("looked.gill_colour"), fields.words("gill_colour"), { none: true }),
        fields.yesNo(at("gill_mucus"), say("looked.gill_mucus")),
        fields.yesNo(at("gill_swollen"), say("looked.gill_swollen")),
        fields.choice(at("feeding"), say("looked.feeding"), fields.words("feeding"), { none: true, hint: say("frame.on_record") }),
        fields.yesNo(at("ulcers"), say("looked.ulcers"), { hint: say("frame.on_record") }),
        fields.choice(at("virus_test"), say("looked.virus_test"), fields.words("virus_test"), { none: true, hint: say("looked.virus_test_hint") }),
        fields.number(at("haematocrit_percent"), say("looked.haematocrit_percent"), "percent"),
        fields.yesNo(at("anaemia"), say("looked.anaemia")),
        fields.text(at("note"), say("looked.note"), { long: true })));
  }
})(window.burden = window.burden || {});
