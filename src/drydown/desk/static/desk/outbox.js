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
  const add = (kind, body) => run(["items", "facts"], "readwrite", (change, give) => {
    const facts = change.objectStore("facts");
    facts.get("seq").onsuccess = (event) => {
      const seq = (event.target.result || 0) + 1;
      facts.put(seq, "seq");
      const item = { key: newKey(), seq, phone_time: now(), kind, body, words: "" };
      change.objectStore("items").add(item);
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
  const settle = (answers) => run(["items"], "readwrite", (change) => {
    const items = change.objectStore("items");
    for (const a of answers) {
      if (a.outcome === "kept") items.delete(a.key);
      else items.get(a.key).onsuccess = (e) => {
        if (e.target.result) items.put({ ...e.target.result, words: a.words });
      };
    }
  });
  // A refused item that is given up keeps its number and says why.
  const giveUp = (key, reason) => run(["items"], "readwrite", (change) => {
    const items = change.objectStore("items");
    items.get(key).onsuccess = (e) => {
      const old = e.target.result;
      if (!old) return;
      items.delete(key);
      items.add({ ...old, key: newKey(), kind: "discard", body: { kind: old.kind, reason }, words: "" });
    };
  });
  const plain = ({ key, seq, phone_time, kind, body }) => ({ key, seq, phone_time, kind, body });
  const cookie = (name) => (document.cookie.split("; ").find((c) => c.startsWith(`${name}=`)) || "=").split("=")[1];
  const post = async () => {
    const items = (await all()).slice(0, 100);
    if (!items.length) return "";
    const answer = await fetch("/api/field/items", {
      method: "POST", credentials: "same-origin", signal: AbortSignal.timeout(20000),
      headers: { "Content-Type": "application/json", "X-CSRFToken": cookie("csrftoken") },
      body: JSON.stringify({ sent_at: now(), items: items.map(plain) }),
    });
    const said = await answer.json();
    if (!answer.ok) return said.words || String(answer.status);
    await settle(said.answers);
    return said.answers.some((a) => a.outcome === "kept") ? post() : "";
  };
  // Only one page sends at a time; what is not answered stays and is sent again.
  const send = async () => {
    try {
      return navigator.locks ? await navigator.locks.request("drydown-send", post) : await post();
    } catch { return "offline"; }
  };
  const count = async () => (await all()).length;
  return { add, all, count, fact, keepFact, giveUp, plain, send, now };
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
