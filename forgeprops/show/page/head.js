// The head from the front, coloured by the limits: colour, hatch and sign. The outline is invented.
const OUTLINE = {
  hosel: "M41 40.5L60.5 77L73.5 70L54.5 33.5Z",
  neck: "M27 29.5C33 28.6 38 34 41 40.5L54.5 33.5C51 28 48 22.5 46 17.5C43 22 36 26 27 29.5Z",
  body: "M27 29.5C13 36-8 46-23 54C-34 60-43.5 54-44.5 40" +
    "C-45.5 23-42 8-28 3C-12-1.6 14-2 30 2C38 4.5 43.5 10 46 17.5C45 23 36 26 27 29.5Z",
  rim: "M20 27C8 32.5-9 41-22.5 48C-31 52.5-39 48.5-40 38.5" +
    "C-41 24-38 11.5-26.5 7.5C-11 3.2 8 3 20 6C25 10 25 22 20 27Z", };
const INK = { good: ["#0E7C7B", "#fff"], marginal: ["#E9A820", "#2B1D00"], out: ["#B8321A", "#fff"], none: ["#CBD2DB",
  "#10151F"] };
const SPOTS = { rim: [-2, -53, "start"], body: [4, 13, "middle"], neck: [76, -15, "end"], hosel: [46.5, -68.5,
  "end"] };

function headPicture(id, pick) {
  const inner = "translate(-11 25.5) scale(.76) translate(11 -25.5)", shapes = {}, veils = {}, words = {}, names = {};
  for (const z of ["hosel", "neck", "body", "rim", "face"]) {
    const d = OUTLINE[z] || OUTLINE.rim, turn = z === "face" ? { transform: inner } : {};
    shapes[z] = svg("path", { d, ...turn, class: "zone", "data-zone": z, tabindex: 0, role: "button",
      "data-lm-suppress-shortcuts": "true", "stroke-width": .7, "stroke-linejoin": "round" });
    veils[z] = svg("path", { d, ...turn, fill: "none", "pointer-events": "none" });
    shapes[z].addEventListener("click", () => pick(z));
    shapes[z].addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { pick(z);
      e.preventDefault(); } });
  }
  const title = (z, x, y, anchor) => (names[z] = label({ x, y, "text-anchor": anchor, class: "nm" }, z));
  const number = svg("tspan", {}), scale = svg("tspan", { class: "small", dx: 1.2 }), sign = label({ x: -9, y: -14,
    "text-anchor": "middle", class: "sign" }, "");
  words.face = svg("text", { x: -11, y: -21.6, "text-anchor": "middle", class: "hv big" }, number, scale);
  title("face", -9, -32.4, "middle");
  for (const [z, [x, y, anchor]] of Object.entries(SPOTS)) {
    words[z] = svg("text", { x, y, "text-anchor": anchor, class: "hv" });
    title(z, x, y - 5.3, anchor);
  }
  const lines = svg("path", { d: "M-3-54.5L-17-48.5M60-20.5L49.5-28M47.5-69L58.5-66M4 3.6L4-.8", fill: "none",
    stroke: "#6F7986", "stroke-width": .4 });
  const pattern = (name, size, turn, mark) => svg("pattern", { id: `${id}-${name}`, width: size, height: size,
    patternUnits: "userSpaceOnUse", patternTransform: turn }, mark);
  const root = svg("svg", { viewBox: "-47 -79 124 95", class: "head", role: "group" }, svg("defs", {}, pattern("out",
    3.2, "rotate(45)", svg("line", { y2: 4, stroke: "#fff", "stroke-opacity": .6, "stroke-width": 1.2 })),
    pattern("marginal", 3.4, "rotate(0)", svg("circle", { cx: 1.2, cy: 1.2, r: .55, fill: "#5A3D00",
    "fill-opacity": .4 }))), svg("g", { transform: "scale(1 -1)" }, ...Object.keys(shapes).flatMap((z) => [shapes[z],
    veils[z]])), lines, ...Object.values(names), ...Object.values(words), sign);
  return { root, update(s, picked) {
    for (const z of ZONES) {
      const { level, text: hv, fill } = s.zones[z];
      put(shapes[z], { fill: (fill || INK[level])[0], stroke: z === picked ? "#0B1020" : "#fff",
        "stroke-width": z === picked ? 1.6 : .7, "aria-label": `${z}: ${hv}, ${WORD[level]}` });
      veils[z].setAttribute("fill", level === "out" || level === "marginal" ? `url(#${id}-${level})` : "none");
      if (z !== "face") text(words[z], hv + (z === "hosel" && s.hosel ? ` · ${s.hosel}` : ""));
    }
    const [n, u] = s.zones.face.text.split(" "), level = s.zones.face.level;
    text(number, n); text(scale, u);
    text(sign, level === "none" ? "" : `${MARK[level]} ${s.zones.face.word || WORD[level]}`);
    for (const e of [words.face, names.face, sign]) e.style.fill = (s.zones.face.fill || INK[level])[1];
    root.setAttribute("aria-label", "head: " + ZONES.map((z) => `${z} ${s.zones[z].text}`).join(", "));
  } };
}
