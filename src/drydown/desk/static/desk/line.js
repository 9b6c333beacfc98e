// A line under each field of a tasting sheet: a tap marks it. Nothing is marked before.
"use strict";
for (const input of document.querySelectorAll("input.line")) {
  const track = document.createElement("div"), mark = document.createElement("span");
  track.className = "slider";
  track.setAttribute("aria-hidden", "true");
  track.append(mark);
  const show = () => {
    const value = Number(input.value.replace(",", "."));
    mark.hidden = input.value.trim() === "" || !(value >= 0 && value <= 10);
    mark.style.left = `${value * 10}%`;
  };
  const set = (event) => {
    const box = track.getBoundingClientRect();
    const part = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
    input.value = String(Math.round(part * 100) / 10);
    show();
  };
  track.addEventListener("pointerdown", (event) => { track.setPointerCapture(event.pointerId); set(event); });
  track.addEventListener("pointermove", (event) => { if (track.hasPointerCapture(event.pointerId)) set(event); });
  input.addEventListener("input", show);
  input.after(track);
  show();
}
