// Counts from lift-off: what should be seen now, and what it means if it is not. No motion but
// the digits; the table beside says the same to anyone who reads aloud.
(() => {
  const rows = DRIFTMAP.moments;
  let begun = null;
  let told = -1;
  let timer = 0;
  let asked = -Infinity; // when Stop was pressed first
  const [BOUNCE, SURE] = [400, 5000]; // between its two presses [ms]

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

  function label() {
    const sure = performance.now() - asked <= SURE;
    const text = say(begun === null ? "lift_off" : sure ? "stop_sure" : "stop");
    if (one("#lift-off").textContent !== text) one("#lift-off").textContent = text;
  }

  function tick() {
    label();
    const seconds = since(begun) / 1000;
    const index = at(seconds);
    one("#seconds").textContent = clock(Math.floor(seconds));
    const next = rows[index + 1];
    one("#next").textContent = next ? say("next", { time: clock(Math.ceil(next.second - seconds)) }) : "";
    if (index !== told) {
      told = index;
      tell(index);
    }
  }

  function begin() {
    begun = mark();
    told = -1;
    asked = -Infinity;
    timer = setInterval(tick, 100);
    document.body.classList.add("counting");
    tick();
  }

  function end() {
    begun = null;
    clearInterval(timer);
    document.body.classList.remove("counting");
    one("#now").textContent = say("press");
    for (const over of ["#if-not", "#next"]) one(over).textContent = "";
    all("#stopwatch tr.now").forEach((row) => row.classList.remove("now"));
    window.speechSynthesis?.cancel();
  }

  // One press on Stop, by accident or as its finger bounces, loses no count: a second one must follow.
  function press() {
    const passed = performance.now() - asked;
    if (begun === null) begin();
    else if (passed > SURE) asked = performance.now();
    else if (passed > BOUNCE) end();
    label();
  }

  one("#lift-off").addEventListener("click", press);
})();
