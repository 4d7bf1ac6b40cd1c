// Cooling curves on logarithmic time: readout under the pointer, zoom by wheel, back by double click.
const LOOK = { face: ["#0B1020", 3, ""], hosel: ["#2B63B8", 3, ""], rim: ["#8A93A0", 1.4, "5 2"], body: ["#8A93A0",
  1.4, "1.5 2.5"], neck: ["#8A93A0", 1.4, "7 2 1.5 2"] };

function coolingPlot() {
  const root = svg("svg", { class: "cool", role: "img", tabindex: 0, "data-lm-suppress-shortcuts": "true" });
  let w = 560, h = 300, data = null, ghost = null, s = null, at = null, view = [1, 2000], key = "", c;
  const grid = svg("g"), water = svg("rect", { y: 8, fill: "#CFE3F7", opacity: .85 }), waterWord = svg("text",
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
      p += (p ? "L" : "M") + c.X(a[k]).toFixed(1) + " " + c.Y(a[i * n + k]).toFixed(1);
    return p;
  };
  function frame() {                                         // axes, made again when size, unit or zoom change
    const now = [w, h, s.temperature, ...view].join();
    if (now === key) return;
    key = now;
    c = chart({ x: { label: h < 200 ? "s" : "seconds after the furnace",
      low: view[0], high: view[1], log: true }, y: { label:
      s.temperature, low: 0, high: s.temperature === "°F" ? 1800 : 1000 }, w, h, left: 44, right: 66, top: 8 });
    grid.replaceChildren(...c.root.childNodes);
  }
  function draw() {
    if (!data || !s) return;
    frame();
    const n = data.length / 6, share = (f) => index(c.X.back(c.left + f * (c.right - c.left))), kf = share(.28),
      kh = share(.62);
    for (const [i, z] of ZONES.entries()) {
      paths[z].setAttribute("d", d(data, i + 1));
      ghosts[z].setAttribute("d", ghost && (z === "face" || z === "hosel") ? d(ghost, i + 1) : "");
    }
    put(tags.face, { x: c.X(data[kf]) - 8, y: c.Y(data[n + kf]) + 16, "text-anchor": "end" });
    put(tags.hosel, { x: c.X(data[kh]) + 8, y: c.Y(data[5 * n + kh]) - 7 });
    const [x0, x1] = (s.spray || [1, 1]).map((t) => Math.min(c.X(t), c.right));
    put(water, { x: x0, width: x1 - x0, height: c.bottom - c.top });
    put(waterWord, { x: x0 + 4, y: c.top + 12 });
    text(waterWord, s.spray && x1 > x0 ? "spray" : "");
    let lowest = -99;
    marks.replaceChildren(...Object.entries(s.marks).filter(([, v]) => v > 0).sort((a, b) => b[1] - a[1]).flatMap(([k,
      v]) => {
      const y = c.Y(v);
      lowest = Math.max(y + 4, lowest + 12);
      return [svg("line", { x1: c.left, x2: c.right, y1: y, y2: y, stroke: "#5B6573", "stroke-dasharray": "1 4" }),
        label({ x: c.right + 5, y: lowest, class: "ax" }, `${k} ${v.toFixed(0)}°`)];
    }));
    hover();
  }
  function hover() {
    if (at == null || !data) return cursor.replaceChildren();
    const n = data.length / 6, k = at, x = c.X(data[k]), bx = x > c.right * .6 ? x - 200 : x + 10, by = c.top + 4,
      a = Math.max(k - 1, 0), b = Math.min(k + 1, n - 1);
    const rate = (i) => ((data[i * n + b] - data[i * n + a]) / (data[b] - data[a])).toFixed(1).replace("-", "−");
    const line = (r, y, bold) => r.map((v, i) => label({ x: bx + [10, 112, 182][i], y, "text-anchor": i ? "end"
      : "start", class: bold ? "tip b" : "tip" }, v));
    cursor.replaceChildren(svg("line", { x1: x, x2: x, y1: c.top, y2: c.bottom, stroke: "#0B1020" }), svg("rect",
      { x: bx, y: by, width: 192, height: 106, rx: 6, fill: "#fff", stroke: "#D5DAE1" }),
      ...line([`${data[k].toFixed(data[k] < 100 ? 1 : 0)} s after the furnace`], by + 17, true), ...ZONES.flatMap((z,
      i) => line([z, `${data[(i + 1) * n + k].toFixed(0)} ${s.temperature}`, `${rate(i + 1)} ${s.temperature}/s`],
      by + 36 + 15 * i, z === "face" || z === "hosel")), ...ZONES.map((z, i) => svg("circle", { cx: x,
      cy: c.Y(data[(i + 1) * n + k]), r: 3.2, fill: LOOK[z][0], stroke: "#fff" })));
  }
  const index = (t) => Math.max(0, Math.min(data.length / 6 - 1,
    Math.round((Math.log(t) / Math.log(2000)) * (data.length / 6 - 1))));
  const px = (e) => e.clientX - root.getBoundingClientRect().left;
  root.addEventListener("pointermove", (e) => { if (data) { const x = px(e); at = x < c.left || x > c.right ? null
    : index(c.X.back(x)); hover(); } });
  root.addEventListener("pointerleave", () => { at = null; hover(); });
  root.addEventListener("wheel", (e) => {
    e.preventDefault();
    const t = c.X.back(px(e)), f = e.deltaY < 0 ? .8 : 1.25, lo = t * Math.pow(view[0] / t, f),
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
