// A chart with axes: the pictures of the lesson, of the trust page and of the tabs stand on it.
// An axis: { label, low, high, log } or { label, names }; a series: { name, x, y, look, line, area, hollow, low, high,
// along, tips, dash, width, colour, tag: "start", "end" or "none", at }.
const LOOKS = [["#0B1020", "circle"], ["#2B63B8", "square"], ["#C23F17", "triangle"], ["#3FA39B", "diamond"]];
const SHAPE = { circle: "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0", square: "M-3.6-3.6h7.2v7.2h-7.2Z",
  triangle: "M0-4.6L4.4 3.6H-4.4Z", diamond: "M0-5L4.4 0L0 5L-4.4 0Z" };

function chart({ x, y, w = 520, h = 300, left = 54, right = 14, top = 10 }) {
  const small = h < 200, bottom = h - (small ? 22 : 38), root = svg("svg", { viewBox: `0 0 ${w} ${h}`, class: "chart",
    role: "img" });
  const scale = (a, from, to) => {
    const low = a.names ? -.5 : a.low, high = a.names ? a.names.length - .5 : a.high, f = a.log ? Math.log : (v) => v;
    const go = (v) => from + ((f(a.log ? Math.max(v, low) : v) - f(low)) / (f(high) - f(low))) * (to - from);
    go.back = (px) => { const s = Math.max(0, Math.min(1, (px - from) / (to - from)));
      return a.log ? low * Math.pow(high / low, s) : low + s * (high - low); };
    return go;
  };
  const X = scale(x, left, w - right), Y = scale(y, bottom, top), grid = svg("g");
  const ticks = (a) => {
    if (a.names || a.ticks) return a.ticks || a.names.map((n, i) => [i, n]);
    if (a.log) {
      const all = [.1, 1, 10, 100, 1000].flatMap((v) => [v, 2 * v, 5 * v]).filter((v) => v >= a.low && v <= a.high);
      return all.filter((v) => all.length < 8 || /^(0\.)?1/.test(v)).map((v) => [v, v]);
    }
    const rough = (a.high - a.low) / (small ? 2 : 5), ten = Math.pow(10, Math.floor(Math.log10(rough))),
      step = ten * [1, 2, 2.5, 5, 10].find((m) => m * ten >= rough);
    return Array.from({ length: 8 }, (_, i) => (Math.ceil(a.low / step - 1e-9) + i) * step).filter((v) =>
      v <= a.high + 1e-9).map((v) => [v, String(+v.toFixed(3)).replace("-", "−")]);
  };
  for (const [v, words] of ticks(y)) grid.append(svg("line", { x1: left, x2: w - right, y1: Y(v), y2: Y(v),
    stroke: "#E6E9EE" }), label({ x: left - 6, y: Y(v) + 4, "text-anchor": "end", class: "ax" }, words));
  for (const [v, words] of ticks(x)) grid.append(svg("line", { x1: X(v), x2: X(v), y1: bottom, y2: bottom + 4,
    stroke: "#8A93A0" }), label({ x: X(v), y: bottom + 17, "text-anchor": "middle", class: "ax" }, words));
  grid.append(svg("line", { x1: left, x2: w - right, y1: bottom, y2: bottom, stroke: "#8A93A0" }),
    label({ x: w - right, y: small ? bottom - 4 : h - 5, "text-anchor": "end", class: "ax" }, x.label
      && x.label + " →"));
  if (y.label) grid.append(label({ x: left + 4, y: top + 6, class: "ax" }, "↑ " + y.label));
  root.append(grid);
  const path = (xs, ys) => xs.map((v, i) => (i ? "L" : "M") + X(v).toFixed(1) + " " + Y(ys[i]).toFixed(1)).join("");
  function draw(s) {                                         // a series in the chart; its group, for later
    const [ink, shape] = LOOKS[s.look || 0], colour = s.colour || ink, g = svg("g"), n = s.x.length;
    const title = (e, i) => { if (s.tips) e.append(svg("title", {}, s.tips[i])); return e; };
    if (s.region) g.append(svg("path", { d: path(s.x, s.y) + "Z", fill: PHASE[s.name], "fill-opacity": .6,
      stroke: "#56606E" }));
    else if (s.area) g.append(svg("path", { d: path(s.x, s.y) + path([...s.x].reverse(),
      [...s.area].reverse()).replace("M", "L") + "Z", fill: colour, "fill-opacity": s.opacity ?? .14, stroke: colour,
        "stroke-opacity": .5 }));
    else if (s.line) g.append(svg("path", { d: path(s.x, s.y), fill: "none", stroke: colour, "stroke-width": s.width
      || 2.4, "stroke-dasharray": s.dash || "", "stroke-linejoin": "round", ...(s.dash ? {} : { pathLength: 1 }) }));
    else s.x.forEach((v, i) => {
      const px = X(v), py = Y(s.y[i]);
      if (s.low) g.append(svg("line", s.along === "x" ? { x1: X(s.low[i]), x2: X(s.high[i]), y1: py, y2: py }
        : { x1: px, x2: px, y1: Math.min(Y(s.low[i]), bottom), y2: Math.max(Y(s.high[i]), top) }));
      if (s.bar) g.insertBefore(svg("rect", { x: px - 32, width: 64, y: py, height: bottom - py, fill: colour,
        "fill-opacity": .75 }), g.firstChild);
      else g.append(title(svg("path", { d: SHAPE[shape], transform: `translate(${px.toFixed(1)} ${py.toFixed(1)})` +
        (n > 200 ? "scale(.6)" : ""), fill: s.hollow ? "#fff" : colour, stroke: colour, "stroke-width": 1.2 }), i));
    });
    g.querySelectorAll("line").forEach((e) => put(e, { stroke: colour, "stroke-width": 1.4, "stroke-opacity": s.bar ? 1
      : .55 }));
    if (s.region) g.append(label({ x: s.x.reduce((a, v) => a + X(v), 0) / n, y: s.y.reduce((a, v) => a + Y(v), 0) / n,
      "text-anchor": "middle", class: "tag2", fill: s.name === "martensite" ? "#fff" : "#10151F" }, s.name));
    else if ((s.line || s.area) && s.tag !== "none" && n) {
      const k = s.tag === "start" ? Math.floor(n * .1) : Math.min(n - 1, Math.floor(n * (s.at || .9))), at = s.area
        ? (s.y[k] + s.area[k]) / 2 : s.y[k];
      g.append(label({ x: X(s.x[k]), y: Y(at) - (s.area ? -4 : 7), "text-anchor": s.tag === "start" ? "start"
        : "end", class: "tag2", fill: colour }, s.name));
    }
    root.append(g);
    return g;
  }
  return { root, X, Y, draw, left, right: w - right, top, bottom, w, h };
}
const legend = (series) => el("p.axis.legend", {}, ...series.filter((s) => !s.line && !s.area && s.name).map((s) => {
  const [colour, shape] = LOOKS[s.look || 0];
  return el("span", {}, svg("svg", { viewBox: "-6 -6 12 12", width: 13, height: 13 }, svg("path", { d: SHAPE[shape],
    fill: s.hollow ? "#fff" : colour, stroke: colour })), " " + s.name);
}));
const seriesRows = (b) => [["series", b.x.label, b.y.label || "what", "low", "high"], ...b.series.flatMap((s) =>
  s.x.map((v, i) => [s.name, v, b.y.names ? b.y.names[s.y[i]] : s.y[i], (s.low || s.area)?.[i] ?? "",
    s.high?.[i] ?? ""]))];
