"use strict";
/* The screens of the form but for the fish, in the order of a visit; each draws itself from the form's state. */
(function (burden) {
  const { h, say, plain, form, fields } = burden;
  const visit = () => form.get(["case", "visit_date"]) || burden.today();

  function now() {
    const gasping = String(form.get(["findings", "gasping"]));
    return [
      fields.text(["case", "title"], say("now.title"), { hint: say("now.title_hint") }),
      fields.date(["case", "visit_date"], say("now.visit_date"), { near: burden.today, chips: [[say("read.today"), burden.today]] }),
      fields.yesNo(["findings", "gasping"], say("now.gasping"), { redraws: true }),
      ["yes", "true"].includes(gasping) ? h("p", { class: "urgent", role: "status" }, say("now.gasping_act")) : null,
      deadToday(),
      fields.date(["case", "trouble_since"], say("now.trouble_since"), { past: true, hint: say("now.trouble_hint") }),
    ];
  }

  function deadToday() {
    const row = burden.deaths.at(visit());
    return fields.steps(["today"], say("now.dead_today"), {
      show: () => (row ? row.deaths : ""),
      get: () => { const at = burden.deaths.at(visit()); return at ? Number(at.deaths) : undefined; },
      put: (value) => burden.deaths.put(visit(), value === undefined ? null : String(value)),
    });
  }

  const KNOWN_BY = () => {
    const told = form.get(["water", "temperature_c"]);
    if (typeof told === "string") return form.get(["readings"]) ? "readings" : "file";
    return told !== null && typeof told === "object" ? "seasons" : "once";
  };
  const A_YEAR = () => ({ mean_c: 12, swing_c: 8, warmest_day: "07-25" });

  function temperature() {
    const kind = KNOWN_BY(), path = ["water", "temperature_c"];
    const ways = [["once", say("water.known_once")], ["readings", say("water.known_readings")]];
    if (kind === "seasons") ways.push(["seasons", say("water.known_seasons")]);
    if (kind === "file") ways.push(["file", say("water.known_file", { file: form.get(path) })]);
    const chosen = fields.choice(["way"], say("water.temperature_known"), ways, {
      same: (_, value) => value === kind,
      redraws: true,
      put: (way) => {
        const known = typeof form.get(path) === "number" ? form.get(path) : form.lastCelsius;
        form.lastCelsius = known;
        form.forget(path);
        if (way === "once") form.set(path, known);
        if (way === "seasons") form.set(path, A_YEAR());
        if (way === "readings") {
          form.set(path, "temperature.csv");
          if (!form.get(["readings"])) form.set(["readings"], known === undefined ? [{}] : [{ date: visit(), temperature_c: String(known) }]);
        }
      },
    });
    chosen.querySelectorAll("input").forEach((input, i) => { input.checked = ways[i][0] === kind; });
    if (kind === "once") return [fields.number(path, say("water.temperature_c"), "celsius"), outlook(), fields.more(say("water.temperature_known"), chosen)];
    if (kind === "seasons") return [chosen, seasons(path)];
    return [chosen, kind === "readings" ? readings() : null, outlook()];
  }

  /* What the temperature does next: by where the water is, or by the year's ends where somebody knows them. */
  function outlook() {
    const path = ["water", "outlook"], told = form.get(path);
    const kind = told === undefined || typeof told === "string" ? told : "latitude" in told ? "outdoors" : "seasons";
    const degrees = () => { try { return Number(localStorage.getItem("burden:latitude")) || ""; } catch (failure) { return ""; } };
    const chosen = fields.choice(path, say("water.outlook"), fields.words("outlook"), {
      none: true, redraws: true, same: (_, value) => value === kind,
      put: (way) => { form.forget(path); form.set(path, way === "outdoors" ? { latitude: degrees() } : way === "seasons" ? A_YEAR() : way); },
    });
    const latitude = () => fields.number([...path, "latitude"], say("water.latitude"), "degrees", {
      hint: say("water.latitude_hint"), show: (value) => (value === undefined ? "" : plain(value)),
      put: (value) => {
        form.set([...path, "latitude"], value === undefined ? "" : value);
        try { if (value !== undefined) localStorage.setItem("burden:latitude", String(value)); } catch (failure) { /* asked again next time */ }
      },
    });
    return [chosen, kind === "outdoors" ? latitude() : kind === "seasons" ? seasons(path) : null];
  }

  /* Warmest and coldest are what people know; mean and half the difference is what the case file has. */
  function seasons(path) {
    const told = form.get(path);
    const ends = { warmest_c: told.mean_c + told.swing_c, coldest_c: told.mean_c - told.swing_c };
    const end = (name) => fields.number(["season", name], say(`water.${name}`), "celsius", {
      show: () => plain(ends[name]),
      put: (value) => {
        if (value === undefined) return;
        ends[name] = value;
        form.set([...path, "mean_c"], (ends.warmest_c + ends.coldest_c) / 2);
        form.set([...path, "swing_c"], Math.abs(ends.warmest_c - ends.coldest_c) / 2);
      },
    });
    return [end("warmest_c"), end("coldest_c"), fields.date([...path, "warmest_day"], say("water.warmest_day"), {
      show: (value) => (value ? burden.fromIso(value.length === 5 ? `2000-${value}` : value).toLocaleDateString(burden.text.language, { day: "numeric", month: "long" }) : ""),
      put: (value) => form.set([...path, "warmest_day"], value === undefined ? undefined : value.slice(5)),
    })];
  }

  /* The newest first, the older ones folded away. */
  function readings() {
    const rows = form.get(["readings"]) || [], order = rows.map((_, i) => rows.length - 1 - i);
    const line = (i) => h("div", { class: "row" },
      fields.date(["readings", i, "date"], say("given.date"), { past: true, show: (value) => (value === undefined ? "" : burden.dayWords(value)) }),
      fields.number(["readings", i, "temperature_c"], say("water.reading"), "celsius", {
        show: (value) => value || "", put: (value) => form.set(["readings", i, "temperature_c"], value === undefined ? undefined : String(value)),
      }),
      fields.button("×", () => { form.forget(["readings"]); form.set(["readings", i], undefined); form.redraw(); }, { class: "round small", label: `${say("frame.remove")} ${i + 1}` }));
    const add = fields.button(say("water.add_reading"), () => { form.set(["readings", rows.length], { date: visit() }); form.redraw(); }, { class: "add" });
    return h("section", { "aria-label": say("water.readings") }, add, order.slice(0, 2).map(line),
      rows.length > 2 ? fields.more(say("water.more_readings", { count: rows.length - 2 }), order.slice(2).map(line)) : null);
  }

  function water() {
    const number = (name, quantity, more) => fields.number(["water", name], say(`water.${name}`), quantity, more);
    const runs = ["cage", "raceway"].includes(form.get(["water", "kind"]));
    const neighbours = fields.choice(["water", "neighbours"], say("water.neighbours"), fields.words("neighbours"), { none: true });
    const hard = form.get(["water", "alkalinity_mg_l_caco3"]) === undefined;
    return [
      fields.choice(["water", "medium"], say("water.medium"), fields.words("medium"), {}),
      fields.choice(["water", "kind"], say("water.kind"), fields.words("kind"), { none: true, redraws: true }),
      runs ? neighbours : null,
      temperature(),
      number("oxygen_mg_l", "mg_l"),
      number("total_ammonia_n_mg_l", "ammonia", { hint: say("water.total_ammonia_hint") }),
      number("nitrite_n_mg_l", "nitrite", { hint: say("water.nitrite_hint") }),
      number("ph", "plain"),
      hard ? number("alkalinity_dkh", "dkh", { hint: say("water.alkalinity_hint") })
        : fields.number(["water", "alkalinity_mg_l_caco3"], say("water.alkalinity_dkh"), "mg_l"),
      fields.yesNo(["water", "aeration"], say("water.aeration")),
      fields.choice(["water", "filter"], say("water.filter"), fields.words("filter"), { none: true }),
      fields.more(say("frame.more"),
        fields.yesNo(["water", "uv"], say("water.uv")),
        number("salinity_g_l", "g_l"),
        number("chloride_mg_l", "mg_l", { hint: say("water.chloride_hint") }),
        number("tap_chlorine_mg_l", "mg_l", { hint: say("frame.on_record") }),
        runs ? null : neighbours,
        number("exchange_per_day", "share", { hint: say("water.exchange_hint") }),
        number("egg_removal_per_day", "share", { hint: say("water.exchange_hint") })),
    ];
  }

  function fish() {
    const groups = form.get(["fish"]) || [];
    if (!groups.length) { form.set(["fish"], [{}]); return fish(); }
    return [
      groups.map((_, i) => group(i, groups.length)),
      fields.button(say("fish.add_group"), () => { form.set(["fish", groups.length], {}); form.redraw(); }, { class: "add" }),
    ];
  }

  /* What stood there at the last visit, as it is filled in and must be counted anew. */
  function lastCount(species, i) {
    const last = burden.facts.last, group = last && last.fish[i];
    return group && group.species === species ? say("fish.last_count", { count: group.count, date: burden.dayWords(last.visit_date) }) : null;
  }

  function group(i, many) {
    const at = (name) => ["fish", i, name], told = form.get(at("species"));
    const usual = burden.facts.species, known = usual.includes(told);
    return h("section", { "aria-label": say("fish.group", { number: i + 1 }) },
      many > 1 ? h("h3", {}, say("fish.group", { number: i + 1 })) : null,
      fields.choice(at("species"), say("fish.species"), usual.map((name) => [name, name]), { redraws: true, put: (value) => { form.set(at("species"), value); burden.suggestSet(); } }),
      known ? null : fields.text(at("species"), say("fish.species_other")),
      fields.steps(at("count"), say("fish.count"), { least: 1, hint: lastCount(told, i) }),
      fields.number(at("mean_weight_g"), say("fish.mean_weight_g"), "grams", {}),
      fields.number(at("length_mm"), say("fish.length_mm"), "millimetres", {}),
      fields.choice(at("food_fish"), say("fish.food_fish"), [["yes", say("frame.yes")], ["no", say("frame.no")]], {
        redraws: true, same: (one, value) => (one === true ? "yes" : one === false ? "no" : one) === value,
      }),
      ["yes", "true"].includes(String(form.get(at("food_fish")))) || form.get(at("harvest_date")) !== undefined
        ? fields.date(at("harvest_date"), say("fish.harvest_date"), { hint: say("fish.harvest_hint"), later: true }) : null,
      fields.more(say("frame.more"),
        fields.steps(at("lethal_sampling_allowed"), say("fish.lethal_sampling_allowed"), { show: (value) => (typeof value === "number" ? String(value) : "") }),
        fields.yesNo(at("naive"), say("fish.naive")),
        fields.yesNo(at("newcomers_apart"), say("fish.newcomers_apart"))),
      many > 1 ? fields.button(say("frame.remove"), () => { form.forget(["fish"]); form.set(["fish", i], undefined); form.redraw(); }) : null);
  }

  /* Fish that joined: blocks of their own, and those a group of a case written by hand names itself. */
  function arrivals() {
    const groups = form.get(["fish"]) || [], rows = form.get(["arrivals"]) || [];
    const own = groups.flatMap((group, i) => (group.new_arrivals || []).map((_, j) => ["fish", i, "new_arrivals", j]));
    return [
      h("p", { class: "hint" }, say("arrivals.intro")),
      own.map((path) => joined(path, groups)),
      rows.map((_, i) => joined(["arrivals", i], groups)),
      fields.button(say("arrivals.add"), () => {
        form.set(["arrivals", rows.length], groups.length > 1 ? { species: groups[0].species } : {});
        form.redraw(fields.id(["arrivals", rows.length, "date"]));
      }, { class: "add", id: "add-arrival" }),
    ];
  }

  function joined(path, groups) {
    const at = (name) => [...path, name], list = path.slice(0, -1);
    return h("section", { class: "card" },
      fields.date(at("date"), say("arrivals.date"), { past: true }),
      fields.steps(at("count"), say("arrivals.count"), { least: 1 }),
      path[0] === "arrivals" && groups.length > 1 ? fields.choice(at("species"), say("fish.species"), groups.map((one) => [one.species, one.species])) : null,
      fields.yesNo(at("treated"), say("arrivals.treated")),
      fields.steps(at("preparations"), say("arrivals.preparations"), { hint: say("arrivals.preparations_hint"), least: 1, put: (value) => {
        form.set(at("preparations"), value);
        if (value !== undefined && form.get(at("flukes_seen")) === undefined) { form.set(at("flukes_seen"), 0); form.redraw(); }
      } }),
      form.get(at("preparations")) !== undefined || form.get(at("flukes_seen")) !== undefined ? fields.steps(at("flukes_seen"), say("arrivals.flukes_seen")) : null,
      fields.yesNo(at("naive"), say("arrivals.naive")),
      fields.button(say("frame.remove"), () => {
        form.forget(list);
        form.set(path, undefined);
        if (list[0] === "fish" && !form.get(list).length) form.set(list, undefined);
        form.redraw();
      }));
  }

  function volume() {
    const path = ["water", "volume_l"], told = form.get(path);
    const object = told !== undefined && typeof told === "object" ? told : null;
    const kind = object && "salt_g" in object ? "salt" : object && "size_m" in object ? "measures" : "known";
    const how = fields.choice(["volume_how"], say("volume.how"), [["known", say("volume.how_known")], ["measures", say("volume.how_measures")], ["salt", say("volume.how_salt")]], {
      redraws: true,
      put: (way) => {
        form.forget(path);
        form.set(path, way === "salt" ? { salt_g: null, rise_g_l: null } : way === "measures" ? { shape: "rectangle", size_m: [null, null, null] } : undefined);
      },
    });
    how.querySelectorAll("input").forEach((input, i) => { input.checked = ["known", "measures", "salt"][i] === kind; });
    const found = form.checked && form.checked.volume;
    const result = kind === "known" ? null : h("p", { class: "result", id: "volume-result", role: "status" }, found ? say("volume.result", { value: plain(found[0]), low: plain(found[1]), high: plain(found[2]) }) : "");
    const part = (name, label, quantity) => fields.number([...path, ...name], say(`volume.${label}`), quantity, {
      show: (value) => (value === undefined ? "" : plain(value)), put: (value) => form.set([...path, ...name], value === undefined ? null : value),
    });
    if (kind === "salt") return [how, part(["salt_g"], "salt_g", "grams"), part(["rise_g_l"], "rise_g_l", "g_l"), result];
    if (kind === "measures") {
      return [how, fields.choice([...path, "shape"], say("volume.shape"), fields.words("shape"), {}),
        part(["size_m", 0], "length_m", "metres"), part(["size_m", 1], "width_m", "metres"), part(["size_m", 2], "depth_m", "metres"), result];
    }
    return [how, known(path, object)];
  }

  /* Litres, and a range where somebody gives one. */
  function known(path, object) {
    const parts = object ? { value: object.value, low: object.low, high: object.high, how: object.how } : { value: form.get(path) };
    const put = (name) => (value) => {
      parts[name] = value;
      const ranged = parts.low !== undefined || parts.high !== undefined;
      if (parts.value === undefined && !ranged) form.set(path, undefined);
      else form.set(path, ranged ? Object.fromEntries(Object.entries({ value: parts.value, low: parts.low === undefined ? parts.value : parts.low, high: parts.high === undefined ? parts.value : parts.high, how: parts.how }).filter(([, v]) => v !== undefined)) : parts.value);
    };
    return [
      fields.number(path, say("volume.value"), "litres", { hint: say("volume.value_hint"), put: put("value") }),
      fields.more(say("frame.more"),
        fields.number(["range", "low"], say("volume.low"), "litres", { show: () => (object ? plain(object.low) : ""), put: put("low"), hint: say("volume.range_hint") }),
        fields.number(["range", "high"], say("volume.high"), "litres", { show: () => (object ? plain(object.high) : ""), put: put("high") })),
    ];
  }

  const LIMIT_DAYS = 28;
  burden.deaths = {
    at: (day) => (form.get(["deaths"]) || []).find((row) => row.date === day),
    put(day, deaths) {
      const rows = (form.get(["deaths"]) || []).filter((row) => row.date !== day);
      if (deaths !== null) rows.push({ date: day, deaths });
      form.set(["deaths"], rows.sort((a, b) => (a.date < b.date ? -1 : 1)));
    },
  };

  function deaths() {
    const last = visit(), first = burden.shifted(last, -(form.deathDays || LIMIT_DAYS) + 1);
    const rows = form.get(["deaths"]) || [], earlier = rows.filter((row) => row.date < first);
    const days = [];
    for (let day = first; day <= last; day = burden.shifted(day, 1)) days.push(day);
    const chosen = form.deathDay && form.deathDay >= first && form.deathDay <= last ? form.deathDay : last;
    const mark = (day) => { const row = burden.deaths.at(day); return row ? row.deaths : "·"; };
    const strip = h("div", { class: "strip", role: "group", "aria-label": say("step.deaths"), id: "strip" }, days.map((day) => {
      const row = burden.deaths.at(day);
      return h("button", {
        type: "button", id: `day-${day}`, class: `day ${row ? (Number(row.deaths) ? "some" : "none") : ""}`, "aria-pressed": String(day === chosen),
        "aria-label": `${say("deaths.day", { date: burden.dayWords(day, true) })}: ${row ? row.deaths : say("deaths.not_watched")}`,
        onclick: () => { form.deathDay = day; form.redraw(); },
      }, h("span", {}, burden.fromIso(day).toLocaleDateString(burden.text.language, { weekday: "short" })), h("b", {}, String(burden.fromIso(day).getDate())), h("span", { class: "mark" }, mark(day)));
    }));
    const put = (value) => () => { burden.deaths.put(chosen, value); form.redraw(); };
    const count = Number((burden.deaths.at(chosen) || {}).deaths || 0);
    requestAnimationFrame(() => { const at = document.getElementById(`day-${chosen}`); if (at) strip.scrollLeft = at.offsetLeft - strip.clientWidth / 2; });
    return [
      h("p", { class: "hint" }, say("deaths.intro")),
      fields.button(say("deaths.older"), () => { form.deathDays = (form.deathDays || LIMIT_DAYS) + LIMIT_DAYS; form.redraw(); }),
      strip,
      h("section", { class: "picked", "aria-label": burden.dayWords(chosen, true) },
        h("h3", {}, say("deaths.day", { date: burden.dayWords(chosen, true) })),
        h("div", { class: "entry" },
          fields.button("−", put(String(Math.max(0, count - 1))), { class: "round", label: "−1" }),
          h("output", { class: burden.deaths.at(chosen) ? "big" : "big worded", "aria-live": "polite" }, burden.deaths.at(chosen) ? mark(chosen) : say("deaths.open")),
          fields.button("+", put(String(count + 1)), { class: "round big", label: "+1" })),
        h("div", { class: "picks" }, fields.button(say("deaths.none_died"), put("0"), { class: "chip" }), fields.button(say("deaths.not_watched"), put(null), { class: "chip" }))),
      fields.button(say("deaths.fill"), () => {
        const from = rows.length ? (rows[0].date < first ? first : rows[0].date) : first;
        days.filter((day) => day >= from && !burden.deaths.at(day)).forEach((day) => burden.deaths.put(day, "0"));
        form.redraw();
      }, { class: "add" }),
      rows.length ? h("p", { class: "result", role: "status" }, say("deaths.total", { deaths: rows.reduce((sum, row) => sum + Number(row.deaths), 0), date: burden.dayWords(rows[0].date) })) : null,
      earlier.length ? h("p", { class: "hint" }, say("deaths.earlier", { count: earlier.length, date: burden.dayWords(first), deaths: earlier.reduce((sum, row) => sum + Number(row.deaths), 0) })) : null,
      h("div", { class: "field", "data-path": '["deaths"]' }, h("p", { class: "problem", id: "f-deaths-problem", "aria-live": "polite" })),
    ];
  }

  function given() {
    const list = (kind, add) => {
      const rows = form.get([kind]) || [];
      return h("section", { "aria-label": say(`given.${kind}`) },
        h("h3", {}, say(`given.${kind}`)),
        rows.length || kind === "planned" ? null : h("p", { class: "hint" }, say("given.none")),
        rows.map((_, i) => action(kind, i)),
        fields.button(say(add), () => { form.set([kind, rows.length], { date: visit(), action: "dose", route: "bath" }); form.newAction = `${kind}-${rows.length}`; form.redraw(); }, { class: "add" }));
    };
    return [list("given", "given.add"), list("planned", "given.add_planned")];
  }

  function action(kind, i) {
    const at = (name) => [kind, i, name], told = form.get([kind, i]), what = told.action || "dose";
    const agents = burden.facts.agents.map((name) => [name, agentWords(name)]);
    if (kind === "given") agents.splice(burden.facts.usual_agents.length, 0, ["unknown", say("given.unknown")]);
    const dose = what === "dose";
    const last = burden.facts.last, asPlanned = kind === "given" && last && told.told_by === "record" && told.date > last.visit_date;
    const remove = fields.button(say("frame.remove"), () => { form.forget([kind]); form.set([kind, i], undefined); form.redraw(); });
    return h("section", { class: "card", "aria-label": actionWords(told) },
      h("details", { id: `card-${kind}-${i}`, open: form.newAction === `${kind}-${i}` || (dose && !told.agent) }, h("summary", {}, actionWords(told)),
      fields.date(at("date"), say("given.date"), { past: kind === "given", later: kind === "planned", chips: kind === "given" ? [[say("read.today"), visit], [say("read.yesterday"), () => burden.shifted(visit(), -1)]] : [] }),
      fields.choice(at("action"), say("given.action"), fields.words("action"), { redraws: true, same: (one, value) => (one || "dose") === value }),
      dose ? fields.choice(at("agent"), say("given.agent"), agents, { redraws: true }) : null,
      dose && (told.agent !== "unknown" || told.mg_l !== undefined || told.g_l !== undefined) ? amount(kind, i) : null,
      dose ? fields.number(at("hours"), say("given.hours"), "hours") : null,
      dose ? fields.choice(at("route"), say("given.route"), fields.words("route"), {}) : null,
      what === "water_change" || dose ? fields.number(at("water_change_after"), say(dose ? "given.water_change_after" : "given.water_share"), "share", { hint: say("water.exchange_hint"), show: (v) => (typeof v === "number" ? plain(v) : "") }) : null,
      dose ? fields.more(say("frame.more"),
        fields.number(at("volume_l_believed"), say("given.volume_l_believed"), "litres"),
        fields.number(at("strength_percent"), say("given.strength_percent"), "percent"),
        fields.yesNo(at("uv_or_carbon_on"), say("given.uv_or_carbon_on")),
        fields.text(at("batch"), say("given.batch")),
        fields.choice(at("told_by"), say("given.told_by"), fields.words("told_by"), { none: true })) : null,
      asPlanned ? null : remove),
      asPlanned ? [h("p", { class: "hint" }, say("given.done_as_planned")), remove] : null);
  }

  function actionWords(told) {
    const amount = told.mg_l ? `${plain(told.mg_l)} mg/L` : told.g_l ? `${plain(told.g_l)} g/L` : told.mg_per_kg_fish ? `${plain(told.mg_per_kg_fish)} mg/kg` : "";
    const what = told.agent === "unknown" ? say("given.unknown") : told.agent ? agentWords(told.agent) : say(`choice.action.${told.action || "dose"}`);
    return [told.date ? burden.dayWords(told.date) : "–", what, amount].filter(Boolean).join(" · ");
  }

  /* An amount in mg/L, per kg of fish, or grams in all over the water they were weighed out for. */
  function amount(kind, i) {
    const at = (name) => [kind, i, name], told = form.get([kind, i]);
    const shown = told.mg_l !== undefined ? plain(told.mg_l) : told.g_l !== undefined ? `${plain(told.g_l)} g/L` : told.mg_per_kg_fish !== undefined ? `${plain(told.mg_per_kg_fish)} mg/kg` : "";
    const clear = () => ["mg_l", "g_l", "mg_per_kg_fish"].forEach((name) => { if (told[name] !== undefined) form.set(at(name), undefined); });
    const litres = () => { const v = form.get(["water", "volume_l"]); return told.volume_l_believed || (typeof v === "number" ? v : v && v.value); };
    return fields.number(at("mg_l"), say("given.amount"), "dose", {
      hint: say("given.amount_hint"), show: () => shown,
      other: (found) => found,
      put: (value) => {
        if (value === undefined) { clear(); return; }
        if (typeof value === "number") { clear(); form.set(at("mg_l"), value); return; }
        clear();
        if (value.as === "mg_per_kg_fish") { form.set(at("mg_per_kg_fish"), value.value); return; }
        const grams = value.value * (value.as === "kilograms" ? 1000 : 1), all = litres();
        if (!all) { form.wrong[fields.key(at("mg_l"))] = say("given.amount_no_volume"); form.changed(); return; }
        const mg_l = Number(((grams * 1000) / all).toPrecision(4));
        form.set(at("mg_l"), mg_l);
        if (!told.volume_l_believed) form.set(at("volume_l_believed"), all);
        document.getElementById(`${fields.id(at("mg_l"))}-means`).textContent = say("given.amount_means", { grams: plain(grams), litres: plain(all), mg_l: plain(mg_l) });
      },
    });
  }

  function agentWords(name) { return (burden.text.choice.agent && burden.text.choice.agent[name]) || name.replace(/_/g, " "); }
  burden.agentWords = agentWords;

  /* Strengths of products at hand: of the solutions among the agents ticked, and of whatever the case names besides. */
  function limits() {
    const at = (name) => ["limits", name], path = at("strength_percent"), told = form.get(path) || {}, usual = burden.facts.strengths;
    const ticked = [form.get(at("agents")) || burden.facts.usual_agents].flat(), atHand = (name) => ticked.includes(name) && form.get(at("agents")) !== undefined;
    const sold = [...new Set([...Object.keys(usual), ...Object.keys(told)])];
    const strength = (name) => fields.number([...path, name], say("limits.strength_percent", { agent: agentWords(name) }), "percent", {
      hint: name in usual ? say("limits.strength_hint", { usual: plain(usual[name]) }) : null,
      put: (value) => { form.set([...path, name], value); if (!Object.keys(form.get(path) || {}).length) form.set(path, undefined); },
    });
    return [
      fields.choice(["case", "aim"], say("limits.aim"), fields.words("aim"), { usual: true }),
      fields.choice(at("agents"), say("limits.agents"), burden.facts.agents.map((name) => [name, agentWords(name)]), { many: true, redraws: true, hint: say("limits.agents_hint") }),
      sold.filter(atHand).map(strength),
      fields.choice(at("visit_days"), say("limits.visit_days"), fields.words("weekday"), { many: true, hint: say("limits.visit_days_hint"), class: "days" }),
      fields.choice(at("first_dose"), say("limits.first_dose"), fields.words("first_dose"), { usual: true, hint: say("limits.first_dose_hint") }),
      fields.more(say("frame.more"),
        fields.steps(at("max_doses"), say("limits.max_doses")),
        fields.number(at("shortest_gap_days"), say("limits.shortest_gap_days"), "days"),
        fields.number(at("max_formalin_mg_l_total"), say("limits.max_formalin_mg_l_total"), "mg_l"),
        fields.number(at("can_heat_to_c"), say("limits.can_heat_to_c"), "celsius"),
        fields.number(at("tolerable_flukes_per_fish"), say("limits.tolerable_flukes_per_fish"), "plain"),
        fields.yesNo(at("spare_tank"), say("limits.spare_tank")),
        sold.filter((name) => !atHand(name) && (name in told || ticked.includes(name))).map(strength)),
    ];
  }

  burden.steps = [
    { id: "now", paths: ["case", "today", "findings.gasping"], draw: now },
    { id: "water", paths: ["water", "readings", "season"], draw: water },
    { id: "fish", paths: ["fish"], draw: fish },
    { id: "arrivals", paths: ["arrivals", ...[0, 1, 2, 3].map((i) => `fish.${i}.new_arrivals`)], draw: arrivals },
    { id: "volume", paths: ["water.volume_l", "range"], draw: volume },
    { id: "looked", paths: ["parasite", "samples", "looking", "findings"], draw: () => burden.drawLooked() },
    { id: "deaths", paths: ["deaths"], draw: deaths },
    { id: "given", paths: ["given", "planned"], draw: given },
    { id: "limits", paths: ["limits", "case.aim"], draw: limits },
    { id: "review", paths: [], draw: () => burden.drawReview() },
  ];
})(window.burden = window.burden || {});
