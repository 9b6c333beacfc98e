// The outbox: what was noted on this phone and has not been answered by the station yet.
// One database, one counter; an item and its number are written together.
"use strict";
const Outbox = (() => {
  const open = () => new Promise((done, fail) => {
    const ask = indexedDB.open("drydown", 1);
    ask.onupgradeneeded = () => {
      ask.result.createObjectStore("items", { keyPath: "key" });
      ask.result.createObjectStore("facts");
    };
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => fail(ask.error);
  });
  const run = async (stores, mode, work) => {
    const db = await open();
    return new Promise((done, fail) => {
      const change = db.transaction(stores, mode, { durability: "strict" });
      let result;
      change.oncomplete = () => { db.close(); done(result); };
      change.onerror = change.onabort = () => { db.close(); fail(change.error); };
      work(change, (value) => { result = value; });
    });
  };
  const newKey = () => {
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = (b[6] & 15) | 64; b[8] = (b[8] & 63) | 128;
    const h = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
    return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
  };
  const now = () => new Date().toISOString();
  // `forget` names a fact, such as a draft, that goes in the same step as the item comes; a draft has
  // its item's key from the start, so that one draft never makes two items.
  const add = (kind, body, forget, key) => run(["items", "facts"], "readwrite", (change, give) => {
    const facts = change.objectStore("facts");
    facts.get("seq").onsuccess = (event) => {
      const seq = (event.target.result || 0) + 1;
      facts.put(seq, "seq");
      const item = { key: key || newKey(), seq, phone_time: now(), kind, body, words: "" };
      change.objectStore("items").add(item);
      if (forget) facts.delete(forget);
      give(item);
    };
  });
  const all = () => run(["items"], "readonly", (change, give) => {
    change.objectStore("items").getAll().onsuccess = (e) => give(e.target.result.sort((a, b) => a.seq - b.seq));
  });
  const fact = (name) => run(["facts"], "readonly", (change, give) => {
    change.objectStore("facts").get(name).onsuccess = (e) => give(e.target.result);
  });
  const keepFact = (name, value) => run(["facts"], "readwrite", (change) => {
    change.objectStore("facts").put(value, name);
  });
  // Kept ones go; refused ones stay with the reason; one whose number alone collides (the phone's
  // storage was cleared) takes the next number: its key says what it is.
  const settle = (answers) => run(["items", "facts"], "readwrite", (change) => {
    const items = change.objectStore("items"), facts = change.objectStore("facts");
    for (const a of answers) {
      if (a.outcome === "kept") { items.delete(a.key); continue; }
      items.get(a.key).onsuccess = (e) => {
        const item = e.target.result;
        if (!item) return;
        if (a.code !== "number") { items.put({ ...item, words: a.words }); return; }
        facts.get("seq").onsuccess = (f) => {
          const mine = f.target.result || 0;
          const seq = mine > (a.next || 0) + 100000 ? a.next : Math.max(mine + 1, a.next || 0);
          facts.put(seq, "seq");
          items.put({ ...item, seq, words: "" });
        };
      };
    }
  });
  const raiseSeq = (least) => run(["facts"], "readwrite", (change) => {
    const facts = change.objectStore("facts");
    facts.get("seq").onsuccess = (e) => { if ((e.target.result || 0) < least) facts.put(least, "seq"); };
  });
  // A refused item that is given up keeps its number and says why.
  const swap = (key, reason) => run(["items"], "readwrite", (change) => {
    const items = change.objectStore("items");
    items.get(key).onsuccess = (e) => {
      const old = e.target.result;
      if (!old) return;
      items.delete(key);
      items.add({ ...old, key: newKey(), kind: "discard", body: { kind: old.kind, key, reason }, words: "" });
    };
  });
  const plain = ({ key, seq, phone_time, kind, body }) => ({ key, seq, phone_time, kind, body });
  const cookie = (name) => (document.cookie.split("; ").find((c) => c.startsWith(`${name}=`)) || "=").split("=")[1];
  const post = async () => {
    const waiting = await all();
    const items = [...waiting.filter((i) => !i.words), ...waiting.filter((i) => i.words)].slice(0, 100);
    if (!items.length) return "";
    const answer = await fetch("/api/field/items", {
      method: "POST", credentials: "same-origin", signal: AbortSignal.timeout(20000),
      headers: { "Content-Type": "application/json", "X-CSRFToken": cookie("csrftoken") },
      body: JSON.stringify({ sent_at: now(), items: items.map(plain) }),
    });
    const said = await answer.json();
    if (!answer.ok) return said.words || String(answer.status);
    await settle(said.answers);
    const told = said.answers.filter((a) => a.outcome === "kept" && a.words).map((a) => a.words).join(" ");
    const more = said.answers.some((a) => a.outcome === "kept" || a.code === "number") ? await post() : "";
    return [told, more].filter(Boolean).join(" ");
  };
  // Only one page sends at a time; what is not answered stays and is sent again.
  const alone = (work) => (navigator.locks ? navigator.locks.request("drydown-send", work) : work());
  const send = async () => {
    try { return await alone(post); } catch { return "offline"; }
  };
  // Lay the pages on the phone, and ask that they and the outbox stay.
  const stay = () => {
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
    const warning = document.getElementById("insecure");
    if ("serviceWorker" in navigator) navigator.serviceWorker.register("/field/worker.js", { scope: "/field/" });
    else if (warning) warning.hidden = false;
  };
  const giveUp = (key, reason) => alone(() => swap(key, reason));
  const count = async () => (await all()).length;
  return { add, all, count, fact, keepFact, giveUp, newKey, plain, raiseSeq, send, stay, now };
})();
const showWaiting = async () => {
  const spot = document.getElementById("waiting");
  if (!spot) return;
  const n = await Outbox.count().catch(() => 0);
  spot.hidden = n === 0 && !spot.dataset.always;
  spot.textContent = `${n} ${spot.dataset.word}`;
};
document.addEventListener("DOMContentLoaded", showWaiting);
document.addEventListener("drydown-outbox", showWaiting);
