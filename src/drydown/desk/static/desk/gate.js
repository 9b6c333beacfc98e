// Plus and minus in place; without this script they send the form, and nothing is kept by that.
"use strict";
document.addEventListener("DOMContentLoaded", () => {
  const form = document.getElementById("weigh");
  if (!form) return;
  const count = form.querySelector("#id_count"), tare = form.querySelector("#id_tare");
  form.querySelectorAll("button[name=less], button[name=more]").forEach((b) => b.addEventListener("click", (e) => {
    e.preventDefault();
    const was = parseInt(count.value, 10) || 0;
    count.value = String(Math.min(500, Math.max(0, was + (b.name === "more" ? 1 : -1))));
    count.dispatchEvent(new Event("input", { bubbles: true }));
  }));
  const asked = document.querySelector(".ask"), kind = form.querySelector("select#id_container");
  if (asked) asked.scrollIntoView({ block: "center" });
  if (kind && count) kind.addEventListener("change", () => { if (kind.value && !count.value.trim()) count.value = "1"; });
  if (tare && count) tare.addEventListener("input", () => { if (tare.value.trim()) count.value = ""; });
});
