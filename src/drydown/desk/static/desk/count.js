// The counting sheet: one big key for each class of defect. Every tap is written as it is made.
// A draft belongs to one person and one tally to one sample and scheme: nothing crosses over.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const text = JSON.parse($("count-words").textContent);
  const fresh = () => ({ key: Outbox.newKey(), turn: 0, sample: "", scheme: "", mass: "", quakers: "", clean: false, tallies: {} });
  let bench = null, station = "", person = "", draft = fresh(), step = 1;
  const name = () => `count-draft ${person}`;
  const say = (words, bad) => {
    $("said").textContent = words;
    $("said").className = bad ? "error toast" : "done toast";
  };
  const rules = () => bench && bench.schemes.find((s) => s.name === draft.scheme);
  const tally = () => {
    const at = `${draft.sample}|${draft.scheme}`;
    if (!draft.tallies[at]) draft.tallies[at] = { counts: {}, taps: [] };
    return draft.tallies[at];
  };
  // Written twice: at once to what survives a reload, then to what survives an empty battery, one
  // after the other, so that an older draft never lands on a newer one.
  let writing = Promise.resolve();
  const keep = () => {
    draft.turn += 1;
    const now = JSON.stringify(draft);
    try { localStorage.setItem(name(), now); } catch { /* the other copy is kept all the same */ }
    writing = writing.then(() => Outbox.keepFact(name(), JSON.parse(now))).catch((e) => say(String(e), true));
  };
  const recall = async () => {
    let quick = null;
    try { quick = JSON.parse(localStorage.getItem(name())); } catch { /* none, or broken */ }
    const slow = await Outbox.fact(name());
    const newest = [quick, slow].filter(Boolean).sort((a, b) => b.turn - a.turn)[0];
    if (newest) draft = { ...fresh(), ...newest };
  };
  const pieces = () => Object.values(tally().counts).reduce((a, b) => a + b, 0);
  // One rounding, the scheme's own, as on the sample's page and the report: whole full defects of each
  // class, or of the total, cut as they were found, then brought to the scheme's mass.
  const weight = (defect) => (Array.isArray(defect.counts) ? defect.counts : [defect.counts, 1]);
  const part = (defect, n) => {
    const [above, below] = weight(defect);
    return rules().rounding === "truncate each" ? Math.floor((n * above) / below) : (n * above) / below;
  };
  const whole = (total) => (rules().rounding === "truncate total" ? Math.floor(total + 1e-9) : total);
  const brought = () => {
    const mass = Number($("mass").value.trim().replace(",", ".")), wanted = rules().sample_g;
    if (!wanted || !(mass > 0) || Math.abs(wanted / mass - 1) <= 0.005) return 1;
    return wanted / mass;
  };
  const sum = () => {
    const { counts, taps } = tally();
    const full = brought() * whole(rules().defects.reduce((a, d) => a + part(d, counts[d.code] || 0), 0));
    const total = document.createElement("b");
    total.textContent = String(Math.round(full * 100) / 100);
    $("sum").replaceChildren(total, ` ${text.full}, ${pieces()} ${text.pieces}`);
    const last = taps.length ? rules().defects.find((d) => d.code === taps[taps.length - 1][0]) : null;
    $("back").disabled = !last;
    $("back").textContent = last ? `${$("back").dataset.word}: ${last.words}` : $("back").dataset.word;
  };
  const choose = (by) => {
    step = by;
    for (const button of document.querySelectorAll(".step")) button.setAttribute("aria-pressed", String(Number(button.dataset.step) === by));
  };
  const key = (defect) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "key";
    button.dataset.code = defect.code;
    const n = document.createElement("span");
    n.className = "big";
    n.textContent = tally().counts[defect.code] || 0;
    const words = document.createElement("span");
    words.textContent = defect.words;
    const counts = document.createElement("small");
    counts.textContent = `${text.counts} ${weight(defect).join("/").replace(/\/1$/, "")}`;
    button.append(n, words, counts);
    button.onclick = () => {
      const here = tally();
      here.counts[defect.code] = (here.counts[defect.code] || 0) + step;
      here.taps.push([defect.code, step]);
      n.textContent = here.counts[defect.code];
      draft.clean = $("clean").checked = false;
      choose(1);
      sum();
      keep();
    };
    return button;
  };
  const showKeys = () => {
    const found = rules();
    $("sheet").hidden = !found || !draft.sample;
    $("scheme-note").textContent = found && found.sample_g ? `${text.other_mass} ${found.sample_g} g.` : "";
    if ($("sheet").hidden) return;
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
    if (!bench.samples.some((s) => String(s.number) === draft.sample)) draft.sample = "";
    fill($("sample"), bench.samples.map((s) => [String(s.number), `${s.number}: ${s.lot}, ${s.mass_g} g`]), draft.sample);
    fill($("scheme"), bench.schemes.map((s) => [s.name, `${s.name}: ${s.words}`]), draft.scheme);
    $("mass").value = draft.mass;
    $("quakers").value = draft.quakers;
    $("clean").checked = draft.clean;
    showKeys();
  };
  const take = (said) => { bench = said.bench; station = said.station; person = said.person; };
  const renew = async () => {
    let refused = "";
    try {
      const answer = await fetch("/api/field/state", { credentials: "same-origin", signal: AbortSignal.timeout(8000) });
      const said = await answer.json();
      if (answer.ok) { take(said); await Outbox.keepFact("state", said); await Outbox.raiseSeq(said.last_seq); }
      else refused = said.words;
    } catch { say(text.offline, false); }
    if (!bench && !refused) { const kept = await Outbox.fact("state"); if (kept) take(kept); }
    if (refused || !bench) say(refused || text.nostate, true);
  };
  const grams = () => {
    const t = $("mass").value.trim().replace(",", ".");
    const doubtful = /^[1-9]\d{0,2}\.\d{3}$/.test(t);
    if (!/^\d{1,5}(\.\d{1,3})?$/.test(t) || doubtful || Number(t) <= 0) throw new Error(text.mass);
    const sample = bench.samples.find((s) => String(s.number) === draft.sample);
    if (Number(t) > 1.02 * sample.mass_g) throw new Error(`${text.too_much} ${sample.mass_g} g.`);
    const wanted = rules().sample_g;
    if (wanted && (Number(t) < wanted / 2 || Number(t) > wanted * 2)) throw new Error(`${text.other_mass} ${wanted} g.`);
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
    if (pieces() === 0 && !draft.clean) throw new Error(text.none);
    if (pieces() > 0 && draft.clean) throw new Error(text.not_clean);
    // Classes that were looked for and not found are part of the count.
    const counts = Object.fromEntries(rules().defects.map((d) => [d.code, tally().counts[d.code] || 0]));
    const told = { scheme: draft.scheme, sample_g: grams(), counts, quakers: quakers() };
    return { sample: Number(draft.sample), told, noted_by: person };
  };
  const done = async () => {
    if ($("done").disabled) return;
    let made;
    try { made = body(); } catch (error) { say(error.message, true); return; }
    for (const button of document.querySelectorAll("#sheet button")) button.disabled = true;
    try {
      await writing;
      const item = await Outbox.add("count", made, name(), draft.key);
      try { localStorage.removeItem(name()); } catch { /* its key keeps it from counting twice */ }
      const { [`${draft.sample}|${draft.scheme}`]: _gone, ...tallies } = draft.tallies;
      const others = Object.values(tallies).some((t) => t.taps.length);
      draft = { ...fresh(), scheme: draft.scheme, tallies: others ? tallies : {} };
      if (others) keep();
      say(`${text.kept} ${item.seq}`, false);
    } catch (error) { say(error.message, true); }
    for (const button of document.querySelectorAll("#sheet button")) button.disabled = false;
    show();
    document.dispatchEvent(new Event("drydown-outbox"));
    window.scrollTo(0, 0);
    await Outbox.send();
    document.dispatchEvent(new Event("drydown-outbox"));
  };
  const changed = (field, value) => { draft[field] = value; showKeys(); keep(); };
  $("sample").onchange = () => changed("sample", $("sample").value);
  $("scheme").onchange = () => changed("scheme", $("scheme").value);
  $("mass").oninput = () => { draft.mass = $("mass").value; if (rules()) sum(); keep(); };
  $("quakers").oninput = () => { draft.quakers = $("quakers").value; keep(); };
  $("clean").onchange = () => { draft.clean = $("clean").checked; keep(); };
  $("back").onclick = () => {
    const here = tally(), last = here.taps.pop();
    if (!last) return;
    here.counts[last[0]] = Math.max(0, here.counts[last[0]] - last[1]);
    showKeys();
    keep();
  };
  $("clear").onclick = () => {
    if (pieces() && !confirm(text.sure)) return;
    draft.tallies[`${draft.sample}|${draft.scheme}`] = { counts: {}, taps: [] };
    showKeys();
    keep();
  };
  $("done").onclick = done;
  $("what").addEventListener("submit", (event) => event.preventDefault());
  for (const button of document.querySelectorAll(".step")) button.onclick = () => choose(Number(button.dataset.step));
  addEventListener("online", () => Outbox.send().then(() => document.dispatchEvent(new Event("drydown-outbox"))));
  const start = async () => {
    Outbox.stay();
    await renew();
    await recall();
    show();
    await Outbox.send();
    document.dispatchEvent(new Event("drydown-outbox"));
    document.body.dataset.ready = "1";
  };
  // One sheet at a time: two pages would share a draft and a key.
  if (navigator.locks) navigator.locks.request("drydown-count", { ifAvailable: true }, (lock) => (lock ? start().then(() => new Promise(() => {})) : say(text.elsewhere, true)));
  else start();
})();
