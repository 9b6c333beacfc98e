// What is typed into a plain page survives a lost network: it is kept on this device until the station has
// answered, and comes back when the page is opened again. Nothing is sent by this script.
"use strict";
// What was answered is seen, also where the address points further down the page.
addEventListener("load", () => {
  const said = document.querySelector("main > .done, main [role=alert]");
  if (said && location.hash) said.scrollIntoView({ block: "center" });
});
(() => {
  const forms = [...document.querySelectorAll("form[method=post]")].filter((f) => f.querySelector("input:not([type=hidden]), select, textarea") && !f.querySelector("input[type=password], input[type=file][required]"));
  if (!forms.length && !sessionStorage.getItem("typed-sent")) return;
  const act = (form) => [...form.querySelectorAll("input[type=hidden]")].filter((i) => ["kind", "act", "scheme"].includes(i.name)).map((i) => i.value).join("|");
  const name = (form) => `typed ${location.pathname} ${form.getAttribute("action") || ""} ${act(form)}`;
  const fields = (form) => [...form.elements].filter((e) => e.name && !["hidden", "file", "submit", "button"].includes(e.type));
  const key = (form) => { const k = form.querySelector("input[name=key]"); return k ? k.value : ""; };
  const read = (where) => { try { return JSON.parse(localStorage.getItem(where)); } catch { return null; } };
  const drop = (where) => { try { localStorage.removeItem(where); } catch { /* nothing was kept */ } };
  // The page before was sent and this one came: the station has answered.
  const sent = sessionStorage.getItem("typed-sent");
  if (sent) { drop(sent); sessionStorage.removeItem("typed-sent"); }
  for (const form of forms) {
    const where = name(form);
    const keep = () => {
      const values = fields(form).map((e) => [e.name, e.type === "checkbox" || e.type === "radio" ? e.checked : e.value, e.value]);
      try { localStorage.setItem(where, JSON.stringify({ at: Date.now(), key: key(form), values })); } catch { /* private window */ }
    };
    const kept = read(where);
    if (kept && Date.now() - kept.at < 12 * 3600 * 1000 && !document.querySelector("[role=alert]")) {
      for (const [field, value, own] of kept.values) {
        for (const e of fields(form).filter((x) => x.name === field)) {
          if (e.type === "checkbox" || e.type === "radio") { if (e.value === own) e.checked = value; } else e.value = value;
        }
      }
      const k = form.querySelector("input[name=key]");
      if (k && kept.key) k.value = kept.key;  // sent twice, kept once
      const note = document.createElement("p");
      note.className = "typed";
      note.setAttribute("role", "status");
      note.textContent = document.body.dataset.typed + " ";
      const clear = document.createElement("button");
      clear.type = "button";
      clear.className = "quiet";
      clear.textContent = document.body.dataset.clear;
      clear.onclick = () => { drop(where); location.reload(); };
      note.append(clear);
      form.prepend(note);
      const fold = form.closest("details");
      if (fold) fold.open = true;
    }
    form.addEventListener("input", keep);
    form.addEventListener("submit", () => { keep(); sessionStorage.setItem("typed-sent", where); });
  }
})();
