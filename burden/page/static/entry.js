"use strict";
/* Starts the form: the screens one after the other, the draft kept, the checks asked for, the folder written. */
(function (burden) {
  const { h, say, form, fields, steps } = burden;
  const root = document.getElementById("form"), offline = burden.facts.sheet === true;
  if (!root) return;
  const CLEAN = () => ({ case: { visit_date: burden.today() }, water: {}, fish: [{}], parasite: {}, looking: {}, findings: {}, limits: {}, given: [], planned: [], arrivals: [], samples: [], deaths: [] });
  // a case, or a new visit of one, whose folder and comments the new one goes on with
  const target = { case: burden.facts.case || null, of: burden.facts.of || null };
  const draftName = target.case || (target.of ? `again:${target.of}` : "new");

  const state = () => ({ fields: form.fields, raw: form.raw, wrong: form.wrong, touched: form.touched, step: steps[form.step].id, seen: form.seen, setChosen: form.setChosen, setSuggested: form.setSuggested, openFish: form.openFish });
  const keep = burden.later(() => { if (form.dirty) burden.drafts.put(draftName, state()); }, 150);
  const check = burden.later(async () => {
    if (offline) { form.checked = burden.plainCheck(form); form.checkedOf = JSON.stringify(form.fields); showChecked(); return; }
    const asked = JSON.stringify(form.fields), found = await burden.ask("/api/check", { ...target, form: outgoing() });
    connection(found.status);
    if (asked !== JSON.stringify(form.fields)) return;
    form.checkedOf = asked;  // without an answer there is nothing to wait for either
    if (found.status !== 200) { if (steps[form.step].id === "review") form.redraw(); return; }
    form.checked = found;
    showChecked();
  }, 350);

  form.changed = function () { form.dirty = true; keep(); check(); };

  /* What goes to the folder: counts not made yet are held back as problems, never written as "could not be counted". */
  function outgoing() {
    return { ...form.fields, samples: (form.fields.samples || []).map((row) => (row.count === null ? { ...row, count: "" } : row)) };
  }
  function openCounts() {
    return (form.fields.samples || []).flatMap((row, i) => (row.count === null ? [{ path: ["samples", i, "count"], text: say("read.needed") }] : []));
  }
  function unread() {
    return Object.entries(form.wrong).map(([at, text]) => ({ path: at.split(".").map((part) => (/^\d+$/.test(part) ? Number(part) : part)), text }));
  }

  function connection(status) {
    const line = document.getElementById("connection");
    if (line) line.textContent = status === 0 ? say("frame.offline") : "";
  }

  function showChecked() {
    if (form.checked) form.checked.problems = [...form.checked.problems, ...openCounts()];
    const volume = document.getElementById("volume-result");
    if (volume) {
      const found = form.checked && form.checked.volume;
      volume.textContent = found ? say("volume.result", { value: burden.plain(found[0]), low: burden.plain(found[1]), high: burden.plain(found[2]) }) : "";
    }
    const box = document.getElementById("odd");
    if (box) { box.replaceChildren(...oddHere()); box.hidden = !box.children.length; }
    if (steps[form.step].id === "review") form.redraw();
    form.showNotes();
  }
  function oddHere() {
    // of this step, where no field of the screen says it itself
    const beside = [...document.querySelectorAll("[data-path]")].filter((node) => document.getElementById(`${fields.id(JSON.parse(node.dataset.path))}-odd`)).map((node) => JSON.parse(node.dataset.path).join("."));
    const shown = (one) => beside.some((at) => one.path.join(".") === at || one.path.join(".").startsWith(`${at}.`));
    const said = ((form.checked && form.checked.odd) || []).filter((one) => stepOf(one.path) === form.step && !shown(one)).map((one) => one.text);
    return said.length ? [h("h3", {}, say("frame.odd")), h("ul", {}, said.map((text) => h("li", {}, text)))] : [];
  }

  form.redraw = function (focusOn) {
    const active = document.activeElement && document.activeElement.id, top = window.scrollY;
    draw();
    const target = document.getElementById(focusOn || active || "");
    if (target) { target.focus({ preventScroll: true }); if (focusOn) target.scrollIntoView({ block: "nearest" }); }
    if (!focusOn) window.scrollTo(0, top);
  };

  function draw() {
    const step = steps[form.step], last = form.step === steps.length - 1;
    const named = (node, i) => node.id || `fold-${i}`, folds = () => [...root.querySelectorAll("details")];
    const opened = new Map(folds().map((node, i) => [named(node, i), node.open]));
    const same = root.dataset.step === step.id;
    root.dataset.step = step.id;
    root.replaceChildren(
      h("nav", { class: "steps", "aria-label": say("frame.steps") },
        h("details", {}, h("summary", {}, say("frame.step_of", { step: form.step + 1, steps: steps.length })),
          h("ol", {}, steps.map((one, i) => h("li", {}, h("button", { type: "button", "aria-current": i === form.step ? "step" : null, onclick: () => go(i) }, say(`step.${one.id}`))))))),
      h("h2", { id: "step-title", tabindex: "-1" }, say(`step.${step.id}`)),
      h("div", { id: "odd", class: "odd", role: "status", hidden: true }),
      h("div", { class: "screen" }, step.draw()),
      h("p", { id: "connection", class: "problem", role: "status" }),
      h("div", { class: "bar" },
        form.step > 0 ? fields.button(say("frame.back"), () => go(form.step - 1), { id: "back" }) : h("span", {}),
        last ? (offline ? fields.button(say("review.sheet_save"), saveSheet, { class: "main", id: "finish" }) : fields.button(say("frame.finish"), () => save(true), { class: "main", id: "finish" }))
          : fields.button(say("frame.next"), () => go(form.step + 1), { class: "main", id: "next" })));
    if (same) folds().forEach((node, i) => { if (i > 0 && opened.has(named(node, i))) node.open = opened.get(named(node, i)); });
    const box = document.getElementById("odd");
    box.replaceChildren(...oddHere());
    box.hidden = !box.children.length;
    form.showNotes();
  }

  function go(to) {
    const step = typeof to === "string" ? stepNamed(to) : to;
    form.step = step;
    form.newAction = null;
    form.showAll = form.showAll || steps[step].id === "review";
    saved.replaceChildren();
    form.deathDays = undefined;
    keep();
    draw();
    window.scrollTo(0, 0);
    document.getElementById("step-title").focus({ preventScroll: true });
    check();
  }
  form.go = go;

  function stepOf(path) {
    const at = path.join(".");
    let best = 0, length = -1;
    steps.forEach((step, i) => step.paths.forEach((one) => { if ((at === one || at.startsWith(`${one}.`)) && one.length > length) { best = i; length = one.length; } }));
    return best;
  }

  function goTo(path) {
    if (path[0] === "samples" && typeof path[1] === "number") form.openFish = (form.get(["samples", path[1]]) || {}).fish;
    if (path[0] === "deaths" && typeof path[1] === "number") form.deathDay = (form.get(["deaths", path[1]]) || {}).date;
    go(stepOf(path));
    const at = document.getElementById(fields.id(path)) || document.getElementById(`${fields.id(path)}-0`);
    for (let fold = at && at.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    if (at) { at.focus(); at.scrollIntoView({ block: "center" }); }
  }

  // one element for as long as the page stands: a check that comes back late must not wipe what a save said
  const saved = h("div", { id: "saved", class: "problem", role: "alert" });
  burden.drawReview = function () {
    // while a check is on its way, what the last one said is of what stood there before
    const current = form.checkedOf === JSON.stringify(form.fields), found = current ? form.checked : null;
    const problems = [...((found && found.problems) || openCounts()), ...unread()];
    const seen = new Set();
    const link = (one) => h("button", { type: "button", class: "link", onclick: () => goTo(one.path) }, `${say(`step.${steps[stepOf(one.path)].id}`)}${one.place ? `: ${one.place}` : ""}`);
    return [
      problems.length ? h("section", { class: "faults", "aria-label": say("frame.to_put_right") },
        h("h3", {}, `${say("frame.to_put_right")}: ${problems.length}`),
        h("ul", {}, problems.filter((one) => { const key = one.path.join(".") + one.text; const fresh = !seen.has(key); seen.add(key); return fresh; }).map((one) => h("li", {}, link(one), ` ${one.text}`)))) : null,
      offline ? h("p", {}, say("review.sheet_intro")) : h("p", { class: "hint", role: "status" }, say(current ? "review.intro" : "review.checking")),
      found && found.words && found.words.length ? h("ul", { class: "readback" }, found.words.map((text) => h("li", {}, text))) : null,
      found && found.odd && found.odd.length ? h("section", { class: "odd" }, h("h3", {}, say("frame.odd")), h("ul", {}, found.odd.map((one) => h("li", {}, link(one), ` ${one.text}`)))) : null,
      found && found.assumed && found.assumed.length ? fields.more(say("review.assumed"), h("ul", {}, found.assumed.map((text) => h("li", {}, text)))) : null,
      saved,
    ];
  };

  async function save(thenDecide, over) {
    check.now();
    const line = () => document.getElementById("saved");
    const held = [...openCounts(), ...unread()];
    if (held.length) { line().textContent = say("frame.cannot_save", { count: held.length }); form.redraw(); return; }
    const found = await burden.ask("/api/save", { ...target, form: outgoing(), seen: over || form.seen });
    connection(found.status);
    if (found.status === 200) {
      form.dirty = false;
      burden.drafts.drop(burden.drafts.key(draftName));
      window.location.assign(thenDecide ? `/case/${encodeURIComponent(found.case)}/decide?start=1` : `/case/${encodeURIComponent(found.case)}`);
    } else if (found.status === 409) conflict(found);
    else if (found.problems) {
      form.checked = { ...(form.checked || {}), problems: found.problems };
      form.checkedOf = JSON.stringify(form.fields);
      form.redraw();
      if (line()) line().textContent = say("frame.cannot_save", { count: found.problems.length });
    } else if (line()) line().textContent = found.status === 0 ? say("frame.offline") : `${say("error.title")} (${found.status})`;
  }

  function conflict(found) {
    const line = document.getElementById("saved");
    line.replaceChildren(h("div", { class: "faults", id: "conflict" }, h("p", {}, say("frame.conflict")), h("div", { class: "picks" },
      fields.button(say("frame.conflict_theirs"), () => { burden.drafts.drop(burden.drafts.key(draftName)); window.location.reload(); }, { class: "chip" }),
      fields.button(say("frame.conflict_mine"), () => save(true, found.seen), { class: "chip" }))));
    line.scrollIntoView();
  }

  function saveSheet() {
    const blob = new Blob([JSON.stringify({ burden_visit: 1, form: outgoing(), open: [...openCounts(), ...unread()] }, null, 1)], { type: "application/json" });
    const link = h("a", { href: URL.createObjectURL(blob), download: "visit.json" });
    document.body.append(link);
    link.click();
    link.remove();
    document.getElementById("saved").textContent = say("review.sheet_saved");
  }

  function resume(draft) {
    Object.assign(form, draft, { step: stepNamed(draft.step) });
  }
  /* Drafts have a step by its name: its number changes when a screen is added. */
  function stepNamed(name) { return Math.max(0, typeof name === "number" ? 0 : steps.findIndex((one) => one.id === name)); }

  function start() {
    const mine = burden.drafts.mine(draftName), others = burden.drafts.of(draftName).filter((one) => one.key !== burden.drafts.key(draftName));
    form.fields = burden.facts.form || CLEAN();
    form.seen = burden.facts.seen || null;
    if (mine) { resume(mine); form.dirty = true; } else if (others.length) offer(others[0]);
    if (burden.facts.unsaved) form.dirty = true;
    draw();
    check.now();
    window.addEventListener("pagehide", () => keep.now());
    window.addEventListener("online", () => check.now());
  }
  function offer(draft) {
    const when = new Date(draft.at).toLocaleString(burden.text.language, { dateStyle: "medium", timeStyle: "short" });
    const box = h("div", { class: "odd", id: "resume", role: "status" }, h("p", {}, say("list.draft", { when })), h("div", { class: "picks" },
      fields.button(say("list.resume"), () => { const { key, at, ...rest } = draft; resume(rest); burden.drafts.drop(key); box.remove(); form.dirty = true; keep.now(); draw(); check.now(); }, { class: "chip" }),
      fields.button(say("list.discard"), () => { burden.drafts.drop(draft.key); box.remove(); }, { class: "chip" })));
    root.before(box);
  }

  /* The checks that need no model, for the sheet that has no program behind it. */
  burden.plainCheck = function () {
    const needed = [["water", "volume_l"], ["water", "medium"], ["water", "temperature_c"], ["fish", 0, "species"], ["fish", 0, "count"], ["fish", 0, "food_fish"], ["parasite", "set"]];
    const problems = needed.filter((path) => form.get(path) === undefined).map((path) => ({ path, text: say("read.needed") }));
    (form.fields.samples || []).forEach((row, i) => ["chosen", "site"].forEach((name) => { if (!row[name]) problems.push({ path: ["samples", i, name], text: say("read.needed") }); }));
    const day = form.get(["case", "visit_date"]);
    for (const name of ["given", "samples", "deaths"]) (form.get([name]) || []).forEach((row, i) => { if (row.date && row.date > day) problems.push({ path: [name, i, "date"], text: say("read.after_visit") }); });
    return { problems: [...problems, ...burden.odd.outside()], odd: burden.odd.odd(), words: [], assumed: [] };
  };

  start();
})(window.burden = window.burden || {});
