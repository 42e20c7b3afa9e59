"use strict";
/* The list of cases: entries that are not saved yet, and a visit brought on a file. */
(function (burden) {
  const { h, say } = burden;
  const place = document.getElementById("drafts");
  for (const draft of burden.drafts.all()) {
    const when = new Date(draft.at).toLocaleString(burden.text.language, { dateStyle: "medium", timeStyle: "short" });
    const name = draft.name === "new" ? (draft.fields && draft.fields.case && draft.fields.case.title) || say("frame.new_title") : draft.name;
    const of = draft.name.startsWith("again:") ? draft.name.slice(6) : null;
    const path = draft.name === "new" ? "/new" : of ? `/case/${encodeURIComponent(of)}/again` : `/case/${encodeURIComponent(draft.name)}`;
    const line = h("p", { class: "odd" }, h("b", {}, of ? `${of}: ${say("list.again")}` : name), ` ${say("list.draft", { when })} `,
      h("a", { class: "button", href: path }, say("list.resume")), " ",
      h("button", { type: "button", onclick: () => { burden.drafts.drop(draft.key); line.remove(); } }, say("list.discard")));
    place.append(line);
  }
  document.getElementById("import").addEventListener("change", async (event) => {
    const file = event.target.files[0], said = document.getElementById("import-problem");
    if (!file) return;
    let told = null;
    try { told = JSON.parse(await file.text()); } catch (failure) { told = null; }
    if (!told || told.burden_visit !== 1 || typeof told.form !== "object") { said.textContent = say("error.title"); return; }
    const found = await burden.ask("/api/check", { case: null, form: told.form });
    burden.drafts.put("new", { fields: told.form, raw: {}, wrong: {}, touched: {}, step: found.problems && found.problems.length ? "now" : "review", seen: null });
    window.location.assign("/new");
  });
})(window.burden = window.burden || {});
