// The Field page: weigh in and read moisture; every note goes to the outbox first, then out.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const text = JSON.parse($("field-words").textContent);
  const number = (typed, what) => {
    const plain = typed.trim();
    const grouped = /^\d{1,3}(?:[ \u00a0\u202f\u2009]\d{3})+(?:[.,]\d{1,6})?$/.test(plain);
    const t = (grouped ? plain.replace(/[ \u00a0\u202f\u2009]/g, "") : plain).replace(",", ".");
    const doubtful = /^[1-9]\d{0,2}\.\d{3}$/.test(t);
    if (!/^\d{1,9}(\.\d{1,6})?$/.test(t) || doubtful) throw new Error(`${what}: ${text.number} ${typed}`);
    return Number(t);
  };
  const grams = (typed, what) => Math.round(number(typed, what) * 1000);
  const maybe = (typed, what, read) => (typed.trim() ? read(typed, what) : null);
  const label = (input) => (input.labels[0] ? input.labels[0].textContent : input.id);
  const fill = (select, values) => {
    select.replaceChildren(new Option(text.choose, ""), ...values.map((v) => new Option(v[1], v[0])));
  };
  const say = (words, bad) => {
    $("said").textContent = words;
    $("said").className = bad ? "error toast" : "done toast";
  };

  let state = null;
  const showState = () => {
    if (!state) return;
    if ($("weigh")) {
      fill($("species"), state.species.map((s) => [s, s]));
      fill($("route"), state.routes.map((r) => [r, r.replace("_", " ")]));
      fill($("container"), state.containers.map((c) => [c.name, `${c.name} (${c.tare_g / 1000} kg)`]));
    }
    if ($("read")) fill($("lot"), state.lots.map((l) => [l.code, `${l.code}, ${l.bed || l.store}`]));
    if ($("beds")) {
      const chosen = $("place").value;
      $("place").replaceChildren(new Option(text.everywhere, ""), ...(state.beds || []).map((b) => new Option(b, b)));
      $("place").value = chosen;
    }
    $("here").textContent = `${state.station}, ${state.device}`;
  };
  const renew = async () => {
    try {
      const answer = await fetch("/api/field/state", { credentials: "same-origin", signal: AbortSignal.timeout(8000) });
      const said = await answer.json();
      if (answer.ok) { state = said; await Outbox.keepFact("state", said); await Outbox.raiseSeq(said.last_seq); }
      else if (answer.status !== 403) say(said.words, true);
    } catch { say(text.offline, false); }
    if (!state) state = await Outbox.fact("state");
    showState();
  };

  // A refused note opens again in its form; noted anew, the old one is given up with the reason "edited".
  let mending = null;
  const put = (id, value) => { if ($(id)) $(id).value = value === null || value === undefined ? "" : String(value); };
  const open = (item) => {
    const b = item.body;
    if (item.kind === "delivery") {
      put("grower", b.grower); put("species", b.species); put("route", b.route); put("gross", b.gross_g / 1000);
      put("container", b.container); put("count", b.container ? b.count : "");
      put("tare", b.container ? "" : b.tare_g / 1000); put("ripe", b.ripe_percent); put("floats", b.float_percent);
    } else {
      put("lot", b.lot); put("moisture", b.moisture_percent_wb); put("method", b.method); put("temp", b.bean_temp_c);
    }
    mending = item.key;
    const form = $(item.kind === "delivery" ? "weigh" : "read");
    form.parentElement.open = true;
    form.querySelector("input").focus();
    say(`${text.editing} ${item.seq}`, false);
  };
  const line = (item) => {
    const li = document.createElement("li");
    const b = item.body;
    const what = item.kind === "delivery" ? `${b.grower}: ${(b.gross_g - b.tare_g) / 1000} kg` : item.kind === "reading" ? `${b.lot}: ${b.moisture_percent_wb} %` : item.kind === "beds" ? `${b.kind}: ${b.bed || text.everywhere}` : item.kind === "count" ? `${text.sample} ${b.sample}: ${b.told.scheme}` : `${text.discarded}: ${b.reason}`;
    li.textContent = `${item.seq}. ${new Date(item.phone_time).toLocaleTimeString()} ${what}`;
    if (item.kind !== "discard" || item.words) {
      const p = document.createElement("p");
      p.className = item.words ? "error" : "small";
      p.textContent = item.words || "";
      const reason = document.createElement("input");
      reason.setAttribute("aria-label", text.reason);
      reason.placeholder = text.reason;
      const button = document.createElement("button");
      button.textContent = text.giveup;
      button.className = "quiet";
      button.onclick = async () => {
        if (!reason.value.trim()) { say(text.why, true); reason.focus(); return; }
        await Outbox.giveUp(item.key, reason.value.trim());
        await push();
      };
      li.append(p, reason, button);
      if (item.kind === "delivery" || item.kind === "reading") {
        const edit = document.createElement("button");
        edit.textContent = text.edit;
        edit.className = "quiet";
        edit.onclick = () => open(item);
        li.append(edit);
      }
    }
    return li;
  };
  const show = async () => {
    const items = await Outbox.all();
    $("items").replaceChildren(...items.map(line));
    $("none").hidden = items.length > 0;
    document.dispatchEvent(new Event("drydown-outbox"));
  };
  const push = async () => {
    const trouble = await Outbox.send();
    $("link").textContent = trouble === "offline" ? text.offline : trouble;
    await show();
  };

  const weighing = () => {
    const tin = state.containers.find((c) => c.name === $("container").value);
    const count = tin ? Math.round(maybe($("count").value, label($("count")), number) || 1) : 0;
    const gross = grams($("gross").value, label($("gross")));
    let tare = maybe($("tare").value, label($("tare")), grams);
    if (tare === null) { if (!tin) throw new Error(text.tare); tare = tin.tare_g * count; }
    if (tare >= gross) throw new Error(text.swapped);
    const net = gross - tare;
    if ((net < 1000 || net > 1500000) && !confirm(`${net / 1000} kg: ${text.improbable}`)) throw new Error(text.mend);
    const grower = number($("grower").value, label($("grower")));
    if (!state.growers.includes(grower)) say(`${text.unknown} ${grower}`, true);
    if (!$("species").value || !$("route").value) throw new Error(text.choose_both);
    return {
      grower, species: $("species").value, route: $("route").value, gross_g: gross, tare_g: tare,
      container: tin ? tin.name : "", count, ripe_percent: maybe($("ripe").value, label($("ripe")), number),
      float_percent: maybe($("floats").value, label($("floats")), number), noted_by: state.person,
    };
  };
  const reading = () => {
    if (!$("lot").value) throw new Error(text.choose_lot);
    if (!$("method").value.trim()) throw new Error(text.method);
    return {
      lot: $("lot").value, moisture_percent_wb: number($("moisture").value, label($("moisture"))),
      method: $("method").value.trim(), bean_temp_c: maybe($("temp").value, label($("temp")), number), noted_by: state.person,
    };
  };
  // The fields are emptied before the phone's disk answers, so that what is typed next is not wiped;
  // if the disk refuses, what was typed comes back.
  const note = async (form, kind, make, clear) => {
    let typed = [];
    try {
      if (!state) throw new Error(text.nostate);
      const body = make();
      typed = clear.map((id) => [$(id), $(id).value]);
      for (const [input] of typed) input.value = "";
      form.querySelector("input").focus();
      const item = await Outbox.add(kind, body);
      if (mending) { await Outbox.giveUp(mending, text.edited); mending = null; }
      say(`${text.kept} ${item.seq}`, false);
      return true;
    } catch (error) {
      for (const [input, value] of typed) if (!input.value) input.value = value;
      say(error.message, true);
      return false;
    }
  };
  const keep = (form, kind, make, clear) => form && form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    if (button.disabled) return;  // a second tap is not a second weighing
    button.disabled = true;
    const noted = await note(form, kind, make, clear);
    button.disabled = false;  // the next one may be noted while this one is sent
    if (noted) { await show(); await push(); }
  });

  const beds = async (button) => {
    if (button.disabled) return;
    button.disabled = true;
    try {
      if (!state) throw new Error(text.nostate);
      const item = await Outbox.add("beds", { kind: button.dataset.kind, bed: $("place").value, noted_by: state.person });
      say(`${text.kept} ${item.seq}: ${button.textContent}, ${$("place").value || text.everywhere}`, false);
      await show();
      await push();
    } catch (error) { say(error.message, true); }
    button.disabled = false;
  };

  const save = async () => {
    const items = (await Outbox.all()).map(Outbox.plain);
    const file = { shape: "drydown.outbox/1", device: state ? state.device : "", sent_at: Outbox.now(), items };
    const a = document.createElement("a");
    a.href = URL.createObjectURL(new Blob([JSON.stringify(file)], { type: "application/json" }));
    a.download = `outbox-${Outbox.now().slice(0, 16).replace(":", "")}.json`;
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 10000);
  };

  keep($("weigh"), "delivery", weighing, ["grower", "gross", "tare", "ripe", "floats", "count"]);
  keep($("read"), "reading", reading, ["moisture", "temp"]);
  if ($("beds")) for (const b of $("beds").querySelectorAll("button")) b.addEventListener("click", () => beds(b));
  $("send").addEventListener("click", push);
  $("save").addEventListener("click", save);
  addEventListener("online", push);
  setInterval(push, 30000);
  Outbox.stay();
  renew().then(show).then(push).then(() => { document.body.dataset.ready = "1"; });
})();
