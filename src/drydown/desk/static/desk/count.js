// The counting sheet: one big key for each class of defect. Every tap goes to the phone's disk at once.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const text = JSON.parse($("count-words").textContent);
  const DRAFT = "count-draft";
  const fresh = () => ({
    key: Outbox.newKey(), turn: 0, sample: "", scheme: "", mass: "", quakers: "", clean: false, counts: {}, taps: [],
  });
  let bench = null, station = "", person = "", draft = fresh(), step = 1;
  const say = (words, bad) => {
    $("said").textContent = words;
    $("said").className = bad ? "error toast" : "done toast";
  };
  const rules = () => bench && bench.schemes.find((s) => s.name === draft.scheme);
  // Every tap is written twice: at once to what survives a reload, then to what survives an empty
  // battery, one after the other, so that an older draft never lands on a newer one.
  let writing = Promise.resolve();
  const keep = () => {
    draft.turn += 1;
    const text = JSON.stringify(draft);
    try { localStorage.setItem(DRAFT, text); } catch { /* the other copy is kept all the same */ }
    writing = writing.then(() => Outbox.keepFact(DRAFT, JSON.parse(text))).catch((e) => say(String(e), true));
  };
  const recall = async () => {
    let quick = null;
    try { quick = JSON.parse(localStorage.getItem(DRAFT)); } catch { /* none, or broken */ }
    const slow = await Outbox.fact(DRAFT);
    const newest = [quick, slow].filter(Boolean).sort((a, b) => b.turn - a.turn)[0];
    if (newest) draft = { ...fresh(), ...newest };
  };
  const sum = () => {
    const found = rules();
    const pieces = Object.values(draft.counts).reduce((a, b) => a + b, 0);
    const full = found ? found.defects.reduce((a, d) => a + d.counts * (draft.counts[d.code] || 0), 0) : 0;
    $("sum").textContent = `${Math.round(full * 100) / 100} ${text.full}, ${pieces} ${text.pieces}`;
    $("back").disabled = draft.taps.length === 0;
  };
  const key = (defect) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "key";
    button.dataset.code = defect.code;
    const n = document.createElement("span");
    n.className = "big";
    n.textContent = draft.counts[defect.code] || 0;
    const words = document.createElement("span");
    words.textContent = defect.words;
    const counts = document.createElement("small");
    counts.textContent = `${text.counts} ${Math.round(defect.counts * 1000) / 1000}`;
    button.append(n, words, counts);
    button.onclick = () => {
      draft.counts[defect.code] = (draft.counts[defect.code] || 0) + step;
      draft.taps.push([defect.code, step]);
      n.textContent = draft.counts[defect.code];
      draft.clean = $("clean").checked = false;
      sum();
      keep();
    };
    return button;
  };
  const showKeys = () => {
    const found = rules();
    $("sheet").hidden = !found;
    if (!found) return;
    $("scheme-note").textContent = found.sample_g ? `${text.other_mass} ${found.sample_g} g.` : "";
    $("keys").replaceChildren(...found.defects.map(key));
    sum();
  };
  const fill = (select, values, chosen) => {
    select.replaceChildren(new Option(text.choose, ""), ...values.map((v) => new Option(v[1], v[0])));
    select.value = chosen;
  };
  const show = () => {
    $("here").textContent = station;
    if (!bench) return;
    fill($("sample"), bench.samples.map((s) => [String(s.number), `${s.number}: ${s.lot}, ${s.mass_g} g`]), draft.sample);
    fill($("scheme"), bench.schemes.map((s) => [s.name, `${s.name}: ${s.words}`]), draft.scheme);
    $("mass").value = draft.mass;
    $("quakers").value = draft.quakers;
    $("clean").checked = draft.clean;
    showKeys();
  };
  const take = (said) => { bench = said.bench; station = said.station; person = said.person; };
  const renew = async () => {
    try {
      const answer = await fetch("/api/field/state", { credentials: "same-origin", signal: AbortSignal.timeout(8000) });
      const said = await answer.json();
      if (answer.ok) { take(said); await Outbox.keepFact("state", said); await Outbox.raiseSeq(said.last_seq); }
      else say(said.words, true);
    } catch { say(text.offline, false); }
    if (!bench) { const kept = await Outbox.fact("state"); if (kept) take(kept); }
    if (!bench) say(text.nostate, true);
  };
  const grams = () => {
    const t = $("mass").value.trim().replace(",", ".");
    if (!/^\d{1,5}(\.\d{1,3})?$/.test(t) || Number(t) <= 0) throw new Error(text.mass);
    return Number(t);
  };
  const quakers = () => {
    const t = $("quakers").value.trim();
    if (t && !/^\d{1,4}$/.test(t)) throw new Error(`${t}?`);
    return t ? Number(t) : null;
  };
  const body = () => {
    if (!bench) throw new Error(text.nostate);
    if (!draft.sample) throw new Error(text.sample);
    if (!rules()) throw new Error(text.scheme);
    const counts = Object.fromEntries(Object.entries(draft.counts).filter(([, n]) => n > 0));
    if (Object.keys(counts).length === 0 && !draft.clean) throw new Error(text.none);
    // Classes that were looked for and not found are part of the count.
    const all = Object.fromEntries(rules().defects.map((d) => [d.code, counts[d.code] || 0]));
    const told = { scheme: draft.scheme, sample_g: grams(), counts: all, quakers: quakers() };
    return { sample: Number(draft.sample), told, noted_by: person };
  };
  const done = async () => {
    const button = $("done");
    if (button.disabled) return;
    button.disabled = true;
    try {
      const made = body();
      await writing;
      const item = await Outbox.add("count", made, DRAFT, draft.key);
      try { localStorage.removeItem(DRAFT); } catch { /* its key keeps it from counting twice */ }
      const left = { sample: "", scheme: draft.scheme, mass: draft.mass };
      draft = { ...fresh(), ...left };
      show();
      say(`${text.kept} ${item.seq}`, false);
      document.dispatchEvent(new Event("drydown-outbox"));
      window.scrollTo(0, 0);
    } catch (error) { say(error.message, true); button.disabled = false; return; }
    button.disabled = false;
    await Outbox.send();
    document.dispatchEvent(new Event("drydown-outbox"));
  };
  $("sample").onchange = () => { draft.sample = $("sample").value; keep(); };
  $("scheme").onchange = () => { draft.scheme = $("scheme").value; draft.counts = {}; draft.taps = []; showKeys(); keep(); };
  $("mass").oninput = () => { draft.mass = $("mass").value; keep(); };
  $("quakers").oninput = () => { draft.quakers = $("quakers").value; keep(); };
  $("clean").onchange = () => { draft.clean = $("clean").checked; keep(); };
  $("back").onclick = () => {
    const last = draft.taps.pop();
    if (!last) return;
    draft.counts[last[0]] = Math.max(0, draft.counts[last[0]] - last[1]);
    showKeys();
    keep();
  };
  $("clear").onclick = () => { draft = { ...fresh(), sample: draft.sample, scheme: draft.scheme, mass: draft.mass }; show(); keep(); };
  $("done").onclick = done;
  $("what").addEventListener("submit", (event) => event.preventDefault());
  for (const button of document.querySelectorAll(".step")) {
    button.onclick = () => {
      step = Number(button.dataset.step);
      for (const other of document.querySelectorAll(".step")) other.setAttribute("aria-pressed", String(other === button));
    };
  }
  addEventListener("online", () => Outbox.send().then(() => document.dispatchEvent(new Event("drydown-outbox"))));
  const start = async () => {
    await recall();
    await renew();
    show();
    await Outbox.send();
    document.dispatchEvent(new Event("drydown-outbox"));
    document.body.dataset.ready = "1";
  };
  start();
})();
