// Cooling curves on logarithmic time: readout under the pointer, zoom by wheel, back by double click.
const LOOK = { face: ["#0B1020", 3, ""], hosel: ["#2B63B8", 3, ""], rim: ["#8A93A0", 1.4, "5 2"], body: ["#8A93A0",
  1.4, "1.5 2.5"], neck: ["#8A93A0", 1.4, "7 2 1.5 2"] };

function coolingPlot() {
  const L = 44, R = 66, T = 8, B = 26, root = svg("svg", { class: "cool", role: "img", tabindex: 0,
    "data-lm-suppress-shortcuts": "true" });
  let w = 560, h = 300, data = null, ghost = null, s = null, at = null, view = [1, 2000], frameKey = "";
  const top = () => (s?.temperature === "°F" ? 1800 : 1000);
  const X = (t) => L + (Math.log(t / view[0]) / Math.log(view[1] / view[0])) * (w - L - R);
  const Y = (c) => h - B - (c / top()) * (h - T - B);
  const back = (px) => view[0] * Math.pow(view[1] / view[0], (px - L) / (w - L - R));
  const grid = svg("g"), water = svg("rect", { y: T, fill: "#CFE3F7", opacity: .85 }), waterWord = svg("text",
    { class: "ax water" });
  const marks = svg("g"), lines = svg("g"), cursor = svg("g"), paths = {}, ghosts = {}, tags = {};
  for (const z of ["rim", "body", "neck", "hosel", "face"]) {
    const [stroke, width, dash] = LOOK[z];
    paths[z] = svg("path", { fill: "none", stroke, "stroke-width": width, "stroke-dasharray": dash, "data-curve": z });
    ghosts[z] = svg("path", { fill: "none", stroke, "stroke-width": 1.5, "stroke-dasharray": "3 4", opacity: .6 });
    lines.append(ghosts[z], paths[z]);
  }
  for (const z of ["face", "hosel"]) lines.append((tags[z] = label({ class: "tag", fill: LOOK[z][0] }, z)));
  root.append(water, grid, marks, lines, waterWord, cursor);
  const d = (a, i) => {
    const n = a.length / 6;
    let p = "";
    for (let k = 0; k < n; k++) if (a[k] >= view[0] * .98 && a[k] <= view[1] * 1.02)
      p += (p ? "L" : "M") + X(a[k]).toFixed(1) + " " + Y(a[i * n + k]).toFixed(1);
    return p;
  };
  function frame() {
    const key = [w, h, top(), ...view].join();
    if (key === frameKey) return;
    frameKey = key;
    const ticks = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000].filter((t) => t >= view[0] && t <= view[1]);
    const few = ticks.length > 7 ? ticks.filter((t) => /^1/.test(t)) : ticks, step = top() / 5;
    grid.replaceChildren(...[0, 1, 2, 3, 4, 5].flatMap((i) => [
      svg("line", { x1: L, x2: w - R, y1: Y(i * step), y2: Y(i * step), stroke: i ? "#E6E9EE" : "#8A93A0" }),
      label({ x: L - 6, y: Y(i * step) + 4, "text-anchor": "end", class: "ax" }, i * step)]),
    ...few.map((t) => label({ x: X(t), y: h - B + 17, "text-anchor": "middle", class: "ax" }, t + " s")),
    label({ x: L + 6, y: h - B - 6, class: "ax" }, `${s?.temperature ?? "°C"}, seconds after the furnace`));
  }
  function draw() {
    if (!data || !s) return;
    frame();
    const n = data.length / 6;
    for (const [i, z] of ZONES.entries()) {
      paths[z].setAttribute("d", d(data, i + 1));
      ghosts[z].setAttribute("d", ghost && (z === "face" || z === "hosel") ? d(ghost, i + 1) : "");
    }
    const kf = index(back(L + .28 * (w - L - R))), kh = index(back(L + .62 * (w - L - R)));
    put(tags.face, { x: X(data[kf]) - 8, y: Y(data[n + kf]) + 16, "text-anchor": "end" });
    put(tags.hosel, { x: X(data[kh]) + 8, y: Y(data[5 * n + kh]) - 7 });
    const [on, off] = s.spray || [1, 1], x0 = Math.max(X(on), L), x1 = Math.min(Math.max(X(off), L), w - R);
    put(water, { x: x0, width: Math.max(0, x1 - x0), height: h - T - B });
    put(waterWord, { x: x0 + 4, y: T + 12 });
    text(waterWord, s.spray && x1 > x0 ? "spray" : "");
    const placed = Object.entries(s.marks).filter(([, c]) => c > 0).sort((a, b) => b[1] - a[1]);
    let lowest = -99;
    marks.replaceChildren(...placed.flatMap(([k, c]) => {
      const y = Math.max(Y(c) + 4, lowest + 12);
      lowest = y;
      return [svg("line", { x1: L, x2: w - R, y1: Y(c), y2: Y(c), stroke: "#5B6573", "stroke-dasharray": "1 4" }),
        label({ x: w - R + 5, y, class: "ax" }, `${k} ${c.toFixed(0)}°`)];
    }));
    hover();
  }
  function hover() {
    if (at == null || !data) return cursor.replaceChildren();
    const n = data.length / 6, k = at, x = X(data[k]), bx = x > (w - R) * .6 ? x - 200 : x + 10, by = T + 4,
      a = Math.max(k - 1, 0), b = Math.min(k + 1, n - 1);
    const rate = (i) => ((data[i * n + b] - data[i * n + a]) / (data[b] - data[a])).toFixed(1).replace("-", "−");
    const line = (r, y, bold) => r.map((v, c) => label({ x: bx + [10, 112, 182][c], y, "text-anchor": c ? "end"
      : "start", class: bold ? "tip b" : "tip" }, v));
    cursor.replaceChildren(svg("line", { x1: x, x2: x, y1: T, y2: h - B, stroke: "#0B1020" }),
      svg("rect", { x: bx, y: by, width: 192, height: 106, rx: 6, fill: "#fff", stroke: "#D5DAE1" }),
      ...line([`${data[k].toFixed(data[k] < 100 ? 1 : 0)} s after the furnace`], by + 17, true),
      ...ZONES.flatMap((z, i) => line([z, `${data[(i + 1) * n + k].toFixed(0)} ${s.temperature}`,
        `${rate(i + 1)} ${s.temperature}/s`], by + 36 + 15 * i, z === "face" || z === "hosel")),
      ...ZONES.map((z, i) => svg("circle", { cx: x, cy: Y(data[(i + 1) * n + k]), r: 3.2, fill: LOOK[z][0],
        stroke: "#fff" })));
  }
  const index = (t) => Math.max(0, Math.min(data.length / 6 - 1,
    Math.round((Math.log(t) / Math.log(2000)) * (data.length / 6 - 1))));
  const px = (e) => e.clientX - root.getBoundingClientRect().left;
  root.addEventListener("pointermove", (e) => { if (data) { const x = px(e); at = x < L || x > w - R ? null
    : index(back(x)); hover(); } });
  root.addEventListener("pointerleave", () => { at = null; hover(); });
  root.addEventListener("wheel", (e) => {
    e.preventDefault();
    const t = back(px(e)), f = e.deltaY < 0 ? .8 : 1.25, lo = t * Math.pow(view[0] / t, f),
      hi = t * Math.pow(view[1] / t, f);
    if (hi / lo > 3) view = [Math.max(1, lo), Math.min(2000, hi)];
    draw();
  }, { passive: false });
  root.addEventListener("dblclick", () => { view = [1, 2000]; draw(); });
  root.addEventListener("keydown", (e) => {
    const go = { ArrowLeft: -2, ArrowRight: 2 }[e.key];
    if (go && data) { at = Math.max(0, Math.min(data.length / 6 - 1, (at ?? 60) + go)); hover(); e.preventDefault(); }
  });
  return { root, draw(state, now, pinned) {
    s = state; data = now; ghost = pinned;
    root.setAttribute("aria-label", `cooling curves of the five zones, ${s.sub}`);
    draw();
  }, size(a, b) {
    if (a < 80 || b < 60) return;
    w = a; h = b;
    put(root, { viewBox: `0 0 ${w} ${h}`, width: w, height: h });
    draw();
  }, rows() {
    const n = data.length / 6;
    return [["time_s", ...ZONES.map((z) => `${z} ${s.temperature}`)],
      ...Array.from({ length: n }, (_, k) => [0, 1, 2, 3, 4, 5].map((i) => data[i * n + k].toFixed(2)))];
  } };
}
