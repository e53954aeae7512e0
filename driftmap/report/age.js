// A verdict is for one time and one reading of the wind: before and after them, go is hold.
// A no-go stays what it is, whatever its age.
const age = (() => {
  "use strict";
  const head = document.querySelector("header.verdict");
  const word = head.querySelector(".word");
  const sign = head.querySelector(".sign");
  const fresh = { word: word.textContent, title: document.title, sign };
  const line = document.querySelector("#age");

  // Where the page is shown by one that knows of newer words, why this one is over.
  let over = "";
  let paper = matchMedia("print").matches; // minutes that are left would stand still there
  window.addEventListener("message", event => {
    if (event.source !== window.parent || event.source === window) return;
    over = String(event.data);
    show();
  });

  // Why the verdict does not count at a time [ms]; empty while it does.
  function lapsed(now) {
    if (over) return over;
    if (AGE.from === null) return AGE.undated;
    if (now < AGE.from) return AGE.early;
    return now < AGE.until ? "" : AGE.past;
  }

  // A clock set back makes nothing young again; one that stands still while the device sleeps is not the longer.
  let latest = { steady: performance.now(), wall: Date.now() };
  function present() {
    const passed = Math.max(performance.now() - latest.steady, Date.now() - latest.wall);
    latest = { steady: performance.now(), wall: latest.wall + passed };
    return latest.wall;
  }

  function show(now = present()) {
    const why = lapsed(now);
    const held = Boolean(why) && AGE.word === "go";
    document.body.classList.toggle("lapsed", Boolean(why));
    document.body.classList.toggle("fallen", held);
    document.body.classList.toggle("go", AGE.word === "go" && !held);
    document.body.classList.toggle("hold", AGE.word === "hold" || held);
    word.textContent = held ? AGE.hold : fresh.word;
    word.style.setProperty("--n", word.textContent.length);
    document.title = held ? `${AGE.hold.replace("\u2011", "-")}${fresh.title.slice(fresh.word.length)}` : fresh.title;
    const now_shown = head.querySelector(".sign");
    const wanted = held ? document.querySelector("#hold-sign").content.firstElementChild : sign;
    if (held !== now_shown.classList.contains("fell")) {
      const other = held ? wanted.cloneNode(true) : wanted;
      other.classList.toggle("fell", held);
      now_shown.replaceWith(other);
    }
    const left = Math.ceil((AGE.until - now) / 60000);
    // That so many minutes are left is told of a go alone: of any other word it would read as one.
    const told = why || (AGE.word === "go" && !paper ? AGE.good.replace(/\.$/, `, ${AGE.left.replace("{minutes}", left)}.`) : AGE.good);
    if (line.textContent !== told) line.textContent = told;
    return held;
  }

  // A page that slept looks again before anyone reads it.
  for (const event of ["pageshow", "focus"]) window.addEventListener(event, () => show());
  for (const event of ["beforeprint", "afterprint"]) {
    window.addEventListener(event, () => {
      paper = event === "beforeprint";
      show();
    });
  }
  document.addEventListener("visibilitychange", () => show());
  setInterval(() => show(), 5000);
  show();
  return { lapsed, show };
})();
