// The lesson: one step a screen with a guess by dragging, the route as a film, a task with a trail of tries.
const within = (v) => Math.max(0, Math.min(1, v)), glow = (c) => `hsl(${8 + 34 * within((c - 600) / 400)} ${12 + 78 *
  within((c - 250) / 450)}% ${14 + 46 * within(c / 1000) ** 2}%)`;

function guessStep(s, done) {
  const c = chart(s.chart), g = s.guess, a = s.answer, over = g.axis === "x";
  s.chart.series.forEach(c.draw);
  const axis = s.chart[g.axis], stroke = "#B8321A", dot = svg("circle", { r: 9, fill: "#fff", stroke,
    "stroke-width": 3.5 });
  const box = svg("rect", { fill: stroke, "fill-opacity": g.bar ? .12 : 0, stroke, "stroke-dasharray": g.bar ? "5 3"
    : "2 5" });
  const words = label({ class: "tag2", fill: stroke }, ""), drag = svg("g", { class: "drag", role: "slider",
    tabindex: 0, "aria-label": s.title, "aria-valuemin": axis.low, "aria-valuemax": axis.high,
      "data-lm-suppress-shortcuts": "true" }, box, words, dot);
  const say = el("p.answer", { role: "status" }, ""), why = el("p.words"), show = el("button.cure", { onclick: reveal },
    "Show the answer"), hint = el("span.hint", {}, "Drag the red point first, or use the arrow keys.");
  let v = g.start, open = false;
  function move(to, touched = true) {
    if (open) return;
    v = Math.max(axis.low, Math.min(axis.high, to));
    const x = over ? c.X(v) : c.X(g.x), y = over ? c.Y(g.y) : c.Y(v), end = x > c.right - 110,
      mine = g.words?.[Math.round(v / g.step)] || `${v.toFixed(g.digits)} ${g.unit}`;
    put(dot, { cx: x, cy: y });
    put(box, g.bar ? { x: x - 32, width: 64, y, height: c.bottom - y } : over ? { x: c.left, width: c.right - c.left, y,
      height: .1 } : { x, width: .1, y: c.top, height: c.bottom - c.top });
    put(words, { x: x + (end ? -15 : 15), y: y - 12, "text-anchor": end ? "end" : "start" });
    text(words, mine);
    put(drag, { "aria-valuenow": v.toFixed(g.digits), "aria-valuetext": mine });
    if (touched) { show.disabled = false; hint.hidden = true; }
  }
  const at = (e) => { const m = c.root.getScreenCTM().inverse(), p = new DOMPoint(e.clientX, e.clientY)
    .matrixTransform(m); move(over ? c.X.back(p.x) : c.Y.back(p.y)); };
  c.root.addEventListener("pointerdown", (e) => { c.root.setPointerCapture(e.pointerId); at(e); e.preventDefault(); });
  c.root.addEventListener("pointermove", (e) => e.buttons && at(e));
  drag.addEventListener("keydown", (e) => {
    const n = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 5, PageDown: -5 }[e.key];
    if (n) { move(g.factor ? v * Math.pow(g.factor, n) : v + n * g.step); e.preventDefault(); }
  });
  function reveal() {
    open = true;
    for (const series of a.series) c.draw(series).classList.add("grow");
    c.root.append(drag);
    text(say, `${v >= a.near[0] && v <= a.near[1] ? "Good guess. " : v < a.value ? "More than you thought. "
      : "Less than you thought. "}${a.say}`);
    text(why, a.why);
    show.hidden = true;
    done();
  }
  c.root.append(drag);
  c.root.classList.add("guess");
  c.root.setAttribute("role", "group");
  show.disabled = true;
  move(v, false);
  return el("div.screen", {}, el("div.tell", {}, el("p.ask", {}, s.ask), el("p.buttons", {}, show, hint), say, why),
    c.root);
}

function filmStep(f, id, done) {
  const c = chart(f.chart), zones = Object.keys(f.celsius), n = f.times.length, picture = headPicture(id, () => {});
  f.chart.series.forEach(c.draw);
  const ys = {}, lines = {}, dots = {}, tags = {}, xs = f.times.map(c.X), degrees = (v) => v * f.scale + f.offset;
  for (const z of [...zones].reverse()) {
    const [stroke, width, dash] = LOOK[z], main = z === "face" || z === "hosel";
    ys[z] = f.celsius[z].map((v) => c.Y(degrees(v)));
    lines[z] = svg("path", { fill: "none", stroke, "stroke-width": width, "stroke-dasharray": dash });
    dots[z] = svg("circle", { r: main ? 5.5 : 2.5, fill: stroke });
    tags[z] = label({ class: "tag2", fill: stroke }, main ? z : "");
    c.root.append(lines[z], dots[z], tags[z]);
  }
  const clock = el("p.ask", { role: "status" }), whole = (n - 1) / f.rate;
  const bar = el("input", { type: "range", min: 0, max: whole, step: 1 / f.rate, value: 0, "aria-label":
    "time of the film", oninput: () => { stop(); at(+bar.value); } });
  const play = el("button.cure.play", { onclick: () => (frame ? stop() : start()) }, "Play");
  let frame = 0, last = 0, film = 0;
  function at(s) {                                           // s: seconds of the film
    const k = Math.min(n - 1, Math.round(s * f.rate)), t = f.times[k], state = { zones: {}, hosel: "" };
    for (const z of zones) {
      const now = f.celsius[z][k], x = xs[k], y = ys[z][k], end = x > c.right - 60;
      put(lines[z], { d: "M" + xs.slice(0, k + 1).map((v, i) => v.toFixed(1) + " " + ys[z][i].toFixed(1)).join("L") });
      put(dots[z], { cx: x, cy: y });
      put(tags[z], { x: x + (end ? -12 : 10), y: y + (z === "face" ? 18 : -8), "text-anchor": end ? "end" : "start" });
      state.zones[z] = { level: "none", text: `${degrees(now).toFixed(0)} ${f.unit}`, fill: [glow(now), now > 760
        ? "#10151F" : "#fff"] };
    }
    picture.update(state, null);
    film = bar.value = s;
    bar.style.setProperty("--p", pct(s, 0, whole) + "%");
    text(clock, `${t.toFixed(t < 100 ? 1 : 0)} s: ${f.says.filter(([i]) => i <= k).pop()[1]}. ${f.speeds.filter(([i]) =>
      i <= k).pop()[1]}.`);
    if (k === n - 1) { stop(); done(); }
  }
  const again = () => { frame = requestAnimationFrame(tick); }, stop = () => { cancelAnimationFrame(frame); frame = 0;
    text(play, "Play"); };
  const tick = (now) => { at(Math.min(film + (now - last) / 1000, whole)); last = now; if (frame) again(); };
  const start = () => { if (film >= whole) film = 0; last = performance.now(); text(play, "Pause"); again(); };
  at(0);
  return Object.assign(el("div.screen.film", {}, el("div.tell", {}, picture.root), el("div.tell", {}, clock, c.root,
    el("p.buttons", {}, play, bar))), { stop });
}

function taskStep(model, done) {
  const left = el("div.tell"), right = el("div.tell", { "aria-live": "polite" });
  const api = { send: (m) => model.send(m), commit: (set) => model.send({ do: "act", act: "take", values: set }) };
  function paint() {
    const { ask, tries, passed } = model.get("task");
    redraw(left, ask, api); redraw(right, tries, api);
    if (passed) done();
  }
  paint();
  return Object.assign(el("div.screen.task", {}, left, right), { paint });
}

function render({ model, el: host }) {
  const S = model.get("static"), count = S.steps.length + 2, KEY = "forgeprops-step", done = new Set();
  const titles = [...S.steps.map((s) => s.title), S.film.title, "Your task: a strong face and a hosel that bends"];
  let at = 0, screen = null;
  const title = el("h1"), body = el("div.card.whole"), dots = el("nav.dots", { "aria-label": "steps" },
    ...titles.map((words, i) => el("button.small", { title: words, "aria-label": `${i + 1}: ${words}`, onclick: () =>
      go(i) }, i + 1)));
  const back = el("button.small", { onclick: () => go(at - 1) }, "‹ Back"), next = el("button.cure", { onclick: () =>
    go(at + 1) }, "Next");
  const paintDots = () => [...dots.children].forEach((b, i) => { put(b, { "aria-current": i === at ? "step"
    : "false" });
    b.classList.toggle("done", done.has(i)); });
  function go(to) {
    screen?.stop?.();
    at = Math.max(0, Math.min(count - 1, to));
    localStorage.setItem(KEY, at + 1);
    const here = at, finish = () => { done.add(here); paintDots(); };
    screen = at < S.steps.length ? guessStep(S.steps[at], finish) : at === S.steps.length ? filmStep(S.film,
      "fpl" + ++views, finish) : taskStep(model, finish);
    text(title, `${at + 1}  ${titles[at]}`);
    body.replaceChildren(screen, el("div.foot", {}, back, next));
    back.disabled = at === 0;
    next.hidden = at === count - 1;
    paintDots();
  }
  const heard = (e) => e.key === KEY && +e.newValue !== at + 1 && go(e.newValue - 1);   // a warning's link
  const clear = shell(host, [title, dots], body, S.caution);
  model.on("change:task", () => screen?.paint?.());
  addEventListener("storage", heard);
  go((localStorage.getItem(KEY) || 1) - 1);
  return () => { clear(); screen?.stop?.(); removeEventListener("storage", heard); };
}
export default { render };
