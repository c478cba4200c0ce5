/* What the page can do beyond being read: dark or light, charts that answer, the replay. */
"use strict";

(() => {
  const root = document.documentElement;
  const read = (id) => { const found = document.getElementById(id); return found ? JSON.parse(found.textContent) : null; };
  root.classList.add("scripted");

  /* What a mark says, where the browser would wait with its title. */
  const told = document.getElementById("told");
  for (const title of document.querySelectorAll(".hit > title")) {
    title.parentNode.told = title.textContent;
    title.remove();
  }
  addEventListener("pointermove", (event) => {
    const hit = event.target.closest && event.target.closest(".hit");
    told.hidden = !hit || !hit.told;
    if (told.hidden) return;
    told.textContent = hit.told;
    told.style.left = `${Math.max(4, Math.min(event.clientX + 14, innerWidth - told.offsetWidth - 8))}px`;
    told.style.top = `${event.clientY + told.offsetHeight + 24 > innerHeight ? event.clientY - told.offsetHeight - 12 : event.clientY + 16}px`;
  });

  /* A truck hidden in one chart is hidden in all of them. */
  const boxes = document.getElementById("pick-trucks");
  const show = (series, on) => {
    for (const part of document.querySelectorAll(`figure [data-series="${series}"]`)) part.classList.toggle("off", !on);
    const box = boxes && boxes.querySelector(`input[value="${series}"]`);
    if (box) box.checked = on;
  };
  if (boxes) {
    boxes.hidden = false;
    boxes.addEventListener("change", (event) => show(event.target.value, event.target.checked));
  }
  addEventListener("click", (event) => {
    const key = event.target.closest && event.target.closest(".key");
    if (key) show(key.dataset.series, key.classList.contains("off"));
  });

  const replay = read("replay-data"), box = document.getElementById("player");
  const player = replay && box && replay.clips.length ? new Player(box, replay) : null;
  window.cragPlayer = player;

  /* On paper nothing can be unfolded. */
  addEventListener("beforeprint", () => { for (const place of document.querySelectorAll("details.place")) place.open = true; });

  const theme = document.getElementById("theme");
  if (theme) {
    const dark = () => root.dataset.theme === "dark" || (!root.dataset.theme && matchMedia("(prefers-color-scheme: dark)").matches);
    const label = () => { theme.textContent = dark() ? "Light" : "Dark"; };
    theme.hidden = false;
    theme.addEventListener("click", () => {
      root.dataset.theme = dark() ? "light" : "dark";
      label();
      if (player) player.draw();
    });
    label();
  }
})();
