"use strict";
/* The decision while it is worked out: asks how far it is, shows the burden as soon as it is there, lets it be stopped. */
(function (burden) {
  const { h, say, plain } = burden, facts = burden.facts, root = document.getElementById("decide");
  if (!root) return;
  const short = (x) => plain(Number(Number(x).toPrecision(2)));
  const three = (t) => say("decide.interval", { median: short(t.median), low: short(t.low), high: short(t.high) });

  async function begin() {
    const found = await burden.ask("/api/decide", { case: facts.case });
    if (found.status === 200) follow(found); else root.replaceChildren(h("p", { class: "problem", role: "alert" }, say(found.status === 0 ? "frame.stopped" : "error.title")));
  }

  function figures(rows) {
    return rows.map((one) => h("div", { class: "figures", role: "group", "aria-label": one.parasite },
      rows.length > 1 ? h("h3", {}, one.parasite) : null,
      figure(say("decide.flukes"), three(one.flukes)), figure(say("decide.flukes_all"), three(one.flukes_all)),
      figure(say("decide.infected"), `${Math.round(100 * one.infected)} %`)));
  }
  const figure = (words, value) => h("div", { class: "figure" }, h("div", { class: "small" }, words), h("div", { class: "value" }, value));

  function draw(job) {
    const busy = job.state === "queued" || job.state === "working", parts = [];
    if (busy) {
      const bar = h("progress", { max: 1, "aria-label": say("decide.working") });
      if (typeof job.share === "number") bar.value = job.share;
      parts.push(h("p", { id: "stage" }, job.state === "queued" ? say("decide.queued", { count: job.before - 1 }) : `${say("decide.working")}: ${job.stage}`, h("span", { class: "facts" }, ` ${say("decide.seconds", { seconds: Math.round(job.seconds) })}`)), bar,
        h("button", { type: "button", id: "stop", onclick: async () => follow(await burden.ask("/api/stop", { case: facts.case })) }, say("decide.stop")));
    }
    if (job.state === "stopped") parts.push(h("p", {}, say("decide.stopped")));
    if (job.state === "failed") parts.push(h("div", { class: "faults", role: "alert" }, h("p", {}, say("decide.failed")), h("ul", {}, job.faults.map((text) => h("li", {}, text)))));
    if (job.answer) {
      const lines = job.answer.text.split("\n");
      parts.push(h("section", { class: "answer", id: "answer", "aria-label": say("decide.title") }, lines.map((line, i) => h("p", { class: i ? null : "act" }, burden.unbroken(line)))));
    }
    if (job.burden && job.burden.length && !job.answer) parts.push(h("h2", {}, say("decide.first")), figures(job.burden));
    if (facts.outdated && !busy && job.state !== "done") parts.push(h("p", { class: "odd" }, say("decide.outdated")));
    if (job.days) facts.days = job.days;
    if (!busy && facts.days && facts.days.length) parts.push(days(facts.days));
    const base = `/case/${encodeURIComponent(facts.case)}`, report = job.state === "done" || facts.report;
    parts.push(h("div", { class: "acts" },
      report ? h("a", { class: `button ${job.state === "done" ? "main" : ""}`, href: `${base}/report/report.html`, id: "report" }, say("decide.report")) : null,
      report ? h("a", { class: "button", href: `${base}/report/dates.ics`, download: "dates.ics" }, say("decide.calendar")) : null,
      busy ? null : h("button", { type: "button", id: "again", onclick: begin }, say("decide.again")),
      h("a", { class: "button", href: base }, say("decide.edit"))));
    root.replaceChildren(...parts.flat());
    const said = document.getElementById("said");
    const words = job.state === "done" ? job.answer.first_action : busy ? job.stage : say(`decide.${job.state === "failed" ? "failed" : "stopped"}`);
    if (said.textContent !== words) said.textContent = words;
  }

  /* What is to be done by date, as the report's day-book and the calendar have it. */
  function days(entries) {
    return h("section", { id: "days", "aria-labelledby": "days-title" }, h("h2", { id: "days-title" }, say("decide.days")),
      h("dl", { class: "days" }, entries.map((one) => h("div", {}, h("dt", {}, burden.dayWords(one.date)), h("dd", {}, burden.unbroken(one.what))))));
  }

  let timer = null;
  function follow(job) {
    clearTimeout(timer);
    if (job.status === 0) {
      root.querySelectorAll("progress").forEach((bar) => bar.remove());
      document.getElementById("said").textContent = say("frame.stopped");
      timer = setTimeout(ask, 2000);
      return;
    }
    if (job.state === "none") { draw({ state: "none", burden: [], seconds: 0 }); return; }
    draw(job);
    if (job.state === "queued" || job.state === "working") timer = setTimeout(ask, 400);
    if (job.burden && job.burden.length && burden.whatIf) burden.whatIf.start();
    if (job.state === "done" && burden.whatIf) burden.whatIf.refresh();
  }
  async function ask() { follow(await burden.ask("/api/job", { case: facts.case })); }

  if (new URLSearchParams(window.location.search).get("start")) {
    history.replaceState(null, "", window.location.pathname);
    begin();
  } else ask().then(() => { if (facts.report && burden.whatIf) burden.whatIf.start(); });
})(window.burden = window.burden || {});
