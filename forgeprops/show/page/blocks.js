// Blocks of which the kernel makes a tab: text, facts, table, map, plot, row, form, buttons, page, drop. A further kind
// is one more entry. What a row or a button does: { take: settings }, { act, values } or { save: [file, text, type] }.
const go = (page, i) => i.save ? download(...i.save) : i.act ? page.send({ do: "act", act: i.act, values: i.values
  || {} }) : page.commit(i.take || i);
const sign = (level) => el("b.mark", { "data-level": level, "aria-label": WORD[level] }, MARK[level]);
const exports = (name, rows, drawn) => menu("save or copy", "⤓", [["Copy", () => copy(rows())], ["Table (CSV)", () =>
  download(name + ".csv", asCsv(rows()), "text/csv")], ...(drawn ? [["Picture (SVG)", () => saveSvg(drawn(), name)],
  ["Picture (PNG)", () => savePng(drawn(), name)]] : [])]);

const BLOCKS = {
  text: (b) => el("p.words" + (b.look ? "." + b.look : ""), {}, b.words, b.step ? el("a.link", { href:
    "08_why_face_and_hosel_differ.ipynb", target: "_blank", onclick: () => localStorage.setItem("forgeprops-step",
    b.step) }, `Why: lesson, step ${b.step}`) : null),
  facts: (b) => el("div.withmenu", {}, exports(b.name || "facts", () => b.rows),
    el("div.facts", {}, ...b.rows.flatMap(([k, v]) => [el("span", {}, k), el("b", {}, v)]))), table(b, page) {
    const levels = b.levels || [], take = b.take || [];
    const row = (r, i) => {
      const act = take[i] && (() => go(page, take[i]));
      const first = act ? el("button.link", { onclick: act, title: "take this" }, r[0]) : r[0];
      return el("tr" + (i === b.here ? ".here" : "") + (act ? ".act" : ""), { onclick: (e) => act &&
        e.target.tagName !== "BUTTON" && act() },
        levels.length ? el("td", {}, sign(levels[i])) : null, ...r.map((v, c) => el(c ? (String(v).length > 30
          ? "td.wrap" : "td") : "th", c ? {} : { scope: "row" }, c ? v : first)));
    };
    return el("div.withmenu.grow", {}, exports(b.name || "table", () => [b.head, ...b.rows]), el("table" +
      (levels.length ? ".levels" : "") + (b.wraps ? ".wraps" : ""), {},
      el("thead", {}, el("tr", {}, levels.length ? el("th", { "aria-label": "verdict" }) : null, ...b.head.map((v) =>
        el("th", { scope: "col" }, v)))), el("tbody", {}, ...b.rows.map(row))));
  },
  map(b, page) {
    const nx = b.xs.length, fields = [], tip = el("span.tipline", { "aria-live": "polite" }, "");
    b.ys.forEach((y, j) => {
      fields.push(el("span.y", {}, j % 2 ? "" : y));
      b.xs.forEach((x, i) => {
        const k = j * nx + i, here = i === b.here[0] && j === b.here[1];
        fields.push(el("button." + b.levels[k] + (here ? ".here" : ""),
          { "aria-label": `${b.tips[k]}, ${WORD[b.levels[k]]}`, tabIndex: here ? 0 : -1,
          onclick: () => page.commit(b.take[k]), onmouseenter: () => text(tip, b.tips[k]), onfocus: () => text(tip,
            b.tips[k]) }));
      });
    });
    fields.push(el("span"), ...b.xs.map((x, i) => el("span.x", {}, i % 4 ? "" : x)));
    const grid = el("div.map", { role: "group", "aria-label": `${b.y} over ${b.x}`,
      style: `grid-template-columns:34px repeat(${nx},minmax(0,1fr))` }, ...fields);
    grid.addEventListener("keydown", (e) => {               // arrows walk over the map
      const go = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -nx, ArrowDown: nx }[e.key],
        all = [...grid.querySelectorAll("button")];
      const to = go && all[all.indexOf(document.activeElement) + go];
      if (to) { to.tabIndex = 0; to.focus(); e.preventDefault(); }
    });
    const rows = [[b.x, b.y, "verdict", "result"], ...b.levels.map((l, k) => [b.xs[k % nx], b.ys[Math.floor(k / nx)],
      WORD[l], b.tips[k]])];
    const picture = () => {                                  // the map as a drawing, to save
      const W = 20, root = svg("svg", { viewBox: `0 0 ${nx * W} ${b.ys.length * W}` });
      b.levels.forEach((l, k) => root.append(svg("rect", { x: (k % nx) * W, y: Math.floor(k / nx) * W, width: W - 1,
        height: W - 1, fill: INK[l][0] }),
        label({ x: (k % nx) * W + 6, y: Math.floor(k / nx) * W + 14, fill: INK[l][1], "font-size": 11 }, MARK[l])));
      root.getBoundingClientRect = () => ({ width: nx * W * 2, height: b.ys.length * W * 2 });
      return root;
    };
    return el("div.withmenu.grow", {}, exports("window", () => rows, picture), el("p.axis", {}, `↑ ${b.y}`), grid,
      el("p.axis", {}, tip, el("span", {}, `${b.x} →`)));
  },
  form(b, page) {
    const input = (f) => f.options ? el("select", {}, ...choices(Object.entries(f.options), f.value)) : el("input" +
      (f.text ? ".text" : ""), { type: f.text ? "text" : f.low == null ? "number" : "range", min: f.low, max: f.high,
      step: f.step || "any", value: f.value });
    const inputs = b.fields.map((f) => [f, input(f)]), act = () => page.send({ do: "act", act: b.act, values:
      Object.fromEntries(inputs.map(([f, i]) => [f.name, f.text || f.options ? i.value : +i.value])) });
    const row = ([f, i]) => {
      const unit = el("span", {}, f.unit), show = () => text(unit, `${+(+i.value).toFixed(f.digits)} ${f.unit}`);
      put(i, { "aria-label": f.label + (f.unit && `, ${f.unit}`), "data-name": f.name });
      if (f.low != null) { i.oninput = show; show(); }
      return el("label", {}, f.label, i, unit);
    };
    return el("form.form", { onsubmit: (e) => { e.preventDefault(); act(); } }, ...inputs.map(row),
      el("button.small", { onclick: act, "data-name": b.act }, b.button));
  },
  page(b) { // a page to print: shown, printed, saved under its own name
    const frame = el("iframe.paper", { title: "sheet", srcdoc: b.html, sandbox: "allow-same-origin allow-modals" });
    return el("div.grow", {}, el("p.buttons", {}, el("button.small", { onclick: () => download(b.name, b.html,
      "text/html", (n) => n) }, "Download"), el("button.small", { onclick: () => frame.contentWindow.print() },
        "Print"), el("span.words.small", {}, b.name)), frame);
  },
  drop(b, page) {
    const input = el("input", { type: "file", multiple: true, hidden: true, accept: b.accept, "aria-label": "files",
      onchange: () => take(input.files) }), say = el("span.words.small", {}, b.words);
    const take = async (files) => {
      const list = [...files], size = list.reduce((n, f) => n + f.size, 0);
      if (!list.length) return;
      const job = size < 1e6 && list.length === 1 && await list[0].text();
      if (job && job.includes("forgeprops job")) return page.send({ do: "load", text: job });
      if (size > 8e6) return text(say, `${(size / 1e6).toFixed(0)} MB at once is too much; give at most 8 MB.`);
      text(say, "Reading …");
      const data = await Promise.all(list.map((f) => f.arrayBuffer()));
      page.model.send({ do: "act", act: b.act, values: { names: list.map((f) => f.name) } }, undefined, data);
    };
    const root = el("div.drop", {}, el("button.small", { onclick: () => input.click() }, "Choose files"), say, input,
      b.templates ? menu("templates", "Templates ⤓", b.templates.map((t) => [t[0], () => download(...t)])) : null);
    for (const k of ["dragover", "dragleave", "drop"]) root.addEventListener(k, (e) => {
      e.preventDefault(); e.stopPropagation(); root.classList.toggle("over", k === "dragover");
      if (k === "drop") take(e.dataTransfer.files);
    });
    return root;
  },
  plot(b) {
    const c = chart(b);
    b.series.forEach(c.draw);
    c.root.setAttribute("aria-label", b.words);
    return el("figure.withmenu.plot", {}, exports(b.name || "plot", () => seriesRows(b), () => c.root),
    b.title ? el("p.words", {}, el("b", {}, b.title)) : null, c.root, legend(b.series), b.words ? el("p.words.small",
      {}, b.words) : null);
  }, row: (b, page) => el("div.row", {}, ...b.blocks.map((k) => BLOCKS[k.kind](k, page))),
  buttons: (b, page) => el("p.buttons", {}, ...b.items.map((i) => el("button.small", { onclick: () => go(page, i) },
    i.label))), };
const drawBlocks = (blocks, page) => el("div.blocks", {}, ...blocks.map((b) =>
  (BLOCKS[b.kind] || BLOCKS.text)(b, page)));
function redraw(box, blocks, page) {                         // focus and scroll stay
  const name = box.contains(document.activeElement) && document.activeElement.dataset.name, top = box.scrollTop;
  box.replaceChildren(drawBlocks(blocks, page)); box.scrollTop = top;
  if (name) box.querySelector(`[data-name="${name}"]`)?.focus();
}
