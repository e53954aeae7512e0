"use strict";
// Every part of a picture that has a reason tells it: by pointer, tap or arrow keys.
for (const picture of document.querySelectorAll(".wide > svg")) {
  const told = [...picture.querySelectorAll("title")].map((t) => t.parentElement).filter((e) => e !== picture);
  const why = picture.parentElement.nextElementSibling;
  const tell = (part) => {
    const { textContent, lang } = part.querySelector("title");
    Object.assign(why, { textContent, lang });
  };
  told.forEach((part, i) => {
    part.setAttribute("tabindex", i ? "-1" : "0");
    part.setAttribute("role", "img");
    part.addEventListener("click", () => tell(part));
    part.addEventListener("focus", () => tell(part));
    part.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      told[(i + step + told.length) % told.length].focus();
    });
  });
  // A finger is wide: the nearest part within 22 px counts as hit.
  picture.addEventListener("click", (event) => {
    const away = (part) => {
      const box = part.getBoundingClientRect();
      return Math.hypot(Math.max(box.left - event.clientX, 0, event.clientX - box.right), Math.max(box.top - event.clientY, 0, event.clientY - box.bottom));
    };
    const near = told.filter((part) => away(part) <= 22).sort((a, b) => away(a) - away(b))[0];
    if (near) tell(event.target.closest("[role=img]") && told.includes(event.target) ? event.target : near);
  });
  if (!told.length) why.remove();
}
