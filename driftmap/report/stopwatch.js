// Counts from lift-off: what should be seen now, and what it means if it is not. No motion but
// the digits; the table beside says the same to anyone who reads aloud.
const stopwatch = (() => {
  const rows = DRIFTMAP.moments;
  let since = null;
  let told = -1;
  let timer = 0;

  function speak(text) {
    if (!on("#speak") || !window.speechSynthesis) return;
    speechSynthesis.cancel();
    const spoken = new SpeechSynthesisUtterance(text);
    spoken.lang = document.documentElement.lang;
    speechSynthesis.speak(spoken);
  }

  // Seconds as the table beside tells them: from 121 s on with minutes.
  function clock(seconds) {
    return seconds <= 120 ? `${seconds} s` : `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
  }

  // The last moment that has begun; a row begins a hair early rather than late.
  function at(seconds) {
    return rows.filter((row) => row.second <= seconds + 0.05).length - 1;
  }

  function tell(index) {
    const { should, otherwise } = rows[index];
    one("#now").textContent = should;
    one("#if-not").textContent = otherwise;
    all("#stopwatch tbody tr").forEach((row, i) => row.classList.toggle("now", i === index));
    speak(`${should} ${otherwise}`);
  }

  function tick() {
    const seconds = (performance.now() - since) / 1000;
    const index = at(seconds);
    one("#seconds").textContent = clock(Math.floor(seconds));
    const next = rows[index + 1];
    one("#next").textContent = next ? say("next", { time: clock(Math.ceil(next.second - seconds)) }) : "";
    if (index !== told) {
      told = index;
      tell(index);
    }
  }

  function toggle() {
    const running = since !== null;
    clearInterval(timer);
    one("#lift-off").textContent = say(running ? "lift_off" : "stop");
    document.body.classList.toggle("counting", !running);
    if (running) {
      since = null;
      window.speechSynthesis?.cancel();
      return;
    }
    since = performance.now();
    told = -1;
    timer = setInterval(tick, 100);
    tick();
  }

  one("#lift-off").addEventListener("click", toggle);
  return { at, clock, toggle };
})();
