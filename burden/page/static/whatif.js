"use strict";
/* A plan moved by hand: doses along a strip of days, by finger, buttons or arrow keys, and what each change does. */
(function (burden) {
  const { h, say, plain } = burden, facts = burden.facts, root = document.getElementById("whatif");
  if (!root) return;
  const CELL = 44;
  const plan = { doses: [], warmer_c: 0, left_times: 1 };
  let about = null, chosen = 0, started = false, touched = false, seen = facts.seen, beside = [], running = false, waiting = false;
  const short = (x) => plain(Number(Number(x).toPrecision(2)));
  const day = (number) => burden.shifted(about.plans.visit, number);
  const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

  async function start() {
    if (started) return;
    started = true;
    root.hidden = false;
    root.replaceChildren(h("h2", {}, say("whatif.title")), h("p", { role: "status" }, say("whatif.wait")));
    await fetchPonds();
    if (about) { reset("recommended"); touched = false; }
  }
  async function fetchPonds() {
    const found = await burden.ask("/api/ready", { case: facts.case });
    if (found.status !== 200 || found.failed) {
      root.replaceChildren(h("h2", {}, say("whatif.title")), h("p", { class: "problem" }, say("error.title")));
      started = false;
      return;
    }
    about = found;
  }
  async function refresh() {
    if (!about) return;
    const fresh = await burden.ask("/api/ready", { case: facts.case });
    if (fresh.status === 200 && !fresh.failed) {
      const before = about.plans.named.recommended;
      about = fresh;
      if (!before && !touched && about.plans.named.recommended) reset("recommended"); else { compare(); draw(); }
    }
  }
  function reset(name) {
    const named = about.plans.named[name] || about.plans.named.customary || [];
    plan.doses = name === "nothing" ? [] : named.map((dose) => ({ ...dose }));
    chosen = 0;
    compare();
    changed();
  }

  /* The plans there are, each tried once in the same water, to stand beside the one in hand. */
  async function compare() {
    const names = ["recommended", "planned", "customary"].filter((name) => about.plans.named[name]);
    const all = [...names.map((name) => [name, about.plans.named[name]]), ["nothing", []]], mine = JSON.stringify([plan.warmer_c, plan.left_times]);
    for (const [name, doses] of all) {
      const found = await burden.ask("/api/try", { case: facts.case, seen, plan: { ...plan, doses } });
      if (mine !== JSON.stringify([plan.warmer_c, plan.left_times])) return;
      if (found.status === 200 && !found.failed) { beside = [...beside.filter((one) => one.name !== name), { name, ...found }]; showBeside(); }
    }
  }

  /* What somebody has chosen or moved stays when the report comes. */
  function changed() { touched = true; plan.doses.sort((a, b) => a.day - b.day); draw(); tryIt(); }
  async function tryIt() {
    if (running) { waiting = true; return; }
    running = true;
    const asked = JSON.stringify(plan);
    const found = await burden.ask("/api/try", { case: facts.case, seen, plan });
    running = false;
    if (found.status === 409) {
      const page = await burden.ask("/api/ready", { case: facts.case });
      if (page.status === 200) { about = page; seen = page.seen || seen; }
    } else if (found.status === 200 && !found.failed) show(found);
    else silent(found.status);
    if (waiting || (found.status === 409 && seen) ) { waiting = false; if (asked !== JSON.stringify(plan) || found.status === 409) tryIt(); }
  }

  const aimWords = () => (about.aim === "eradicate" ? say("whatif.aim_eradicate") : say("whatif.aim_control", { flukes: about.tolerable ? short(about.tolerable) : "–" }));
  const cell = (name) => document.getElementById(`try-${name}`);
  let latest = null;
  /* No figures stand beside a plan they are not of. */
  function silent(status) {
    latest = null;
    for (const name of ["chance", "left", "deaths"]) cell(name).textContent = "–";
    document.getElementById("untried").textContent = say(status === 0 ? "whatif.no_answer" : "error.title");
  }
  function show(found) {
    latest = found;
    document.getElementById("untried").textContent = "";
    cell("chance").textContent = `${Math.round(100 * found.chance)} %`;
    cell("left").textContent = say("decide.interval", { median: short(found.left.median), low: short(found.left.low), high: short(found.left.high) });
    cell("deaths").textContent = say("decide.interval", { median: short(found.deaths.median), low: short(found.deaths.low), high: short(found.deaths.high) });
  }
  function showBeside() {
    const body = document.getElementById("beside");
    if (!body) return;
    const order = ["recommended", "planned", "customary", "nothing"];
    body.replaceChildren(...order.map((name) => beside.find((one) => one.name === name)).filter(Boolean).map((one) => h("tr", {},
      h("th", { scope: "row" }, h("button", { type: "button", class: "chip", "data-plan": one.name, onclick: () => reset(one.name) }, say(`whatif.${one.name}`))),
      h("td", {}, `${Math.round(100 * one.chance)} %`), h("td", {}, short(one.left.median)), h("td", {}, short(one.deaths.median)))));
  }

  function draw() {
    const active = document.activeElement && document.activeElement.id, scrolled = root.querySelector(".plan") ? root.querySelector(".plan").scrollLeft : 0;
    const days = Array.from({ length: about.horizon + 1 }, (_, i) => i), shut = new Set(about.plans.shut);
    const strip = h("div", { class: "plan", role: "group", "aria-label": say("whatif.strip") }, h("div", { class: "days-row" },
      days.map((i) => h("div", { class: `cell ${shut.has(i) ? "shut" : ""}` }, burden.fromIso(day(i)).toLocaleDateString(burden.text.language, { weekday: "short" }), h("b", {}, String(burden.fromIso(day(i)).getDate())), burden.fromIso(day(i)).toLocaleDateString(burden.text.language, { month: "short" }))),
      plan.doses.map((dose, i) => handle(dose, i))));
    const dose = plan.doses[chosen];
    const button = (id, words, action, off) => h("button", { type: "button", id, onclick: action, disabled: Boolean(off) }, words);
    const pick = (name, label, options, now, put) => h("fieldset", { class: "field" }, h("legend", {}, label), h("div", { class: "picks" }, options.map(([value, words], i) => h("span", { class: "pick" },
      h("input", { type: "radio", name, id: `${name}-${i}`, checked: value === now, onchange: () => put(value) }), h("label", { for: `${name}-${i}` }, words)))));
    const again = () => { beside = []; compare(); changed(); };
    root.replaceChildren(
      h("h2", {}, say("whatif.title")), h("p", { class: "hint" }, say("whatif.intro", { draws: about.draws })),
      h("div", { class: "figures" },
        h("div", { class: "figure" }, h("div", { class: "small" }, say("whatif.chance")), h("div", { class: "value", id: "try-chance", "aria-live": "polite" }, "…"), h("div", { class: "small" }, aimWords())),
        h("div", { class: "figure" }, h("div", { class: "small" }, say("whatif.left")), h("div", { class: "value", id: "try-left" }, "…")),
        h("div", { class: "figure" }, h("div", { class: "small" }, say("whatif.deaths", { days: about.deaths_days })), h("div", { class: "value", id: "try-deaths" }, "…"))),
      h("p", { id: "untried", class: "problem", role: "alert" }),
      strip,
      h("p", { id: "dose-now", role: "status" }, dose ? doseWords(dose, chosen) : say("whatif.none")),
      h("div", { class: "acts" },
        button("dose-earlier", `← ${say("whatif.earlier")}`, () => move(chosen, -1), !dose), button("dose-later", `${say("whatif.later")} →`, () => move(chosen, 1), !dose),
        button("dose-add", say("whatif.add"), add), button("dose-drop", say("whatif.drop"), () => { plan.doses.splice(chosen, 1); chosen = Math.max(0, Math.min(chosen, plan.doses.length - 1)); changed(); }, !dose)),
      dose && about.agents.length > 1 ? pick("agent", say("whatif.agent"), about.agents.map((name) => [name, burden.text.choice.agent[name] || name]), dose.agent, (value) => { plan.doses[chosen].agent = value; changed(); }) : null,
      h("details", { open: plan.warmer_c !== 0 || plan.left_times !== 1, id: "whatif-more" }, h("summary", {}, say("frame.more")),
        pick("warmer", say("whatif.warmer"), [[-3, say("whatif.minus", { by: 3 })], [0, say("whatif.same")], [3, say("whatif.plus", { by: 3 })]], plan.warmer_c, (value) => { plan.warmer_c = value; again(); }),
        pick("kill", say("whatif.kill"), [[1, say("whatif.kill_as")], [2, say("whatif.kill_half")], [3, say("whatif.kill_third")]], plan.left_times, (value) => { plan.left_times = value; again(); })),
      h("table", {}, h("caption", {}, say("whatif.beside")), h("thead", {}, h("tr", {}, h("td", {}), h("th", { scope: "col" }, say("whatif.head_chance")), h("th", { scope: "col" }, say("whatif.head_left")), h("th", { scope: "col" }, say("whatif.head_dead")))), h("tbody", { id: "beside" })),
      h("div", { class: "acts" }, h("button", { type: "button", class: "main", id: "take", onclick: take, disabled: same(plan.doses, about.plans.named.planned || []) }, say("whatif.take"))),
      h("p", { class: "hint" }, say("whatif.take_hint")), h("p", { id: "taken", role: "status" }));
    const frame = root.querySelector(".plan"), at = dose ? dose.day * CELL : 0;
    frame.scrollLeft = dose && (at < scrolled || at > scrolled + frame.clientWidth - 2 * CELL) ? Math.max(0, at - frame.clientWidth / 2) : scrolled;
    if (latest) show(latest);
    showBeside();
    if (active && document.getElementById(active)) document.getElementById(active).focus({ preventScroll: true });
  }
  const shutOn = (dose) => (about.plans.shut.includes(dose.day) ? ` ${say("whatif.shut")}` : "");
  const doseWords = (dose, i) => say("whatif.dose", { number: i + 1, date: burden.dayWords(day(dose.day), true), agent: burden.text.choice.agent[dose.agent] || dose.agent }) + shutOn(dose);

  function handle(dose, i) {
    const node = h("button", { type: "button", class: "dose", id: `dose-${i}`, "aria-pressed": String(i === chosen), "aria-label": doseWords(dose, i), onclick: () => { if (chosen !== i) { chosen = i; draw(); refetchShown(); document.getElementById(`dose-${i}`).focus(); } } }, String(i + 1));
    node.style.setProperty("left", `${dose.day * CELL}px`);
    node.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: -1, ArrowRight: 1, Delete: 0 }[event.key];
      if (by === undefined) return;
      event.preventDefault();
      if (by) move(i, by); else document.getElementById("dose-drop").click();
    });
    node.addEventListener("pointerdown", (event) => {
      const from = event.clientX, at = dose.day;
      chosen = i;
      try { node.setPointerCapture(event.pointerId); } catch (failure) { /* a pointer that is gone */ }
      const drag = (moved) => { const to = clamp(at + Math.round((moved.clientX - from) / CELL)); if (to !== dose.day) { dose.day = to; node.style.setProperty("left", `${to * CELL}px`); tryIt(); } };
      const drop = () => { node.removeEventListener("pointermove", drag); if (dose.day !== at) { chosen = 0; changed(); chosen = plan.doses.indexOf(dose); draw(); tryIt(); } };
      node.addEventListener("pointermove", drag);
      node.addEventListener("pointerup", drop, { once: true });
      node.addEventListener("pointercancel", drop, { once: true });
    });
    return node;
  }
  const refetchShown = () => tryIt();
  const clamp = (number) => Math.max(0, Math.min(about.horizon, number));
  function move(i, by) {
    const dose = plan.doses[i];
    if (!dose) return;
    touched = true;
    dose.day = clamp(dose.day + by);
    plan.doses.sort((a, b) => a.day - b.day);
    chosen = plan.doses.indexOf(dose);
    draw();
    const active = document.getElementById(`dose-${chosen}`);
    if (document.activeElement && document.activeElement.classList.contains("dose")) active.focus();
    tryIt();
  }
  function add() {
    const last = plan.doses[plan.doses.length - 1];
    const gap = plan.doses.length > 1 ? last.day - plan.doses[plan.doses.length - 2].day : 5;
    plan.doses.push({ day: last ? clamp(last.day + gap) : 0, agent: last ? last.agent : about.agents[0] });
    chosen = plan.doses.length - 1;
    changed();
  }
  async function take() {
    const found = await burden.ask("/api/take", { case: facts.case, seen, plan });
    const line = document.getElementById("taken");
    if (found.status === 200) {
      seen = found.seen;
      about.plans.named.planned = plan.doses.map((dose) => ({ ...dose }));
      await burden.ask("/api/ready", { case: facts.case });
      draw();
      tryIt();
      document.getElementById("taken").textContent = say("whatif.taken");
    } else line.textContent = found.status === 409 ? say("frame.conflict") : (found.problems || []).map((one) => one.text).join(" ") || say("error.title");
  }
  burden.whatIf = { start, refresh };
})(window.burden = window.burden || {});
