// The page: rail, tiles, head, tabs. Drags go as state (the newest counts), commands as messages (none may be lost).
const UNITS = [["°C", "°F"], ["mm", "in"], ["HV", "HRC", "HB"]];

function render({ model, el: host }) {
  const S = model.get("static"), id = "fpg" + ++views, send = (m) => model.send(m);
  let s = model.get("state"), picked = null, tab = S.tab, mine = 0, begun = 0, n = 0, ticking = 0, took = 0;
  // A server holds a small message until the last one is acknowledged, and that waits 40 ms unless the browser has
  // something to send: so it sends something (Nagle's algorithm, RFC 896; delayed acknowledgement, RFC 1122).
  const ack = (ms) => { ticking = setTimeout(() => { send({ do: "ack" }); if (ms < 20) ack(2 * ms); }, ms); };
  const move = (set) => { mine = Date.now(); begun = performance.now(); model.set("move", { set, n: ++n });
    model.save_changes(); clearTimeout(ticking); if (took < 200) ack(5); };
  const commit = (set) => send(set ? { do: "commit", set } : { do: "commit" }), api = { send, commit, model };

  // ---- rail: a stack of sheets, the first with six controls
  const sliders = {}, field = (name, right, ...rest) => el("div.field", {}, el("div.line", {}, name, right), ...rest);
  function slider(name) {
    const f = s.fields[name], key = `${id}-${name}`, fmt = (v) => String(+(+v).toFixed(s.fields[name].digits));
    const input = el("input", { type: "range", id: key, "data-name": name }), strip = el("div.strip",
      { "aria-hidden": "true" }), pin = el("i.pin");
    const num = el("input.num", { type: "number", "aria-label": f.label + ", number", "data-number": name }),
      unit = el("span.u");
    const show = (v) => {
      const { low, high, unit: u } = s.fields[name];
      input.value = v;
      if (document.activeElement !== num) num.value = fmt(v);
      input.style.setProperty("--p", pct(v, low, high) + "%");
      input.setAttribute("aria-valuetext", `${fmt(v)} ${u}`);
    };
    input.addEventListener("input", () => { show(+input.value); move({ [name]: +input.value }); });
    input.addEventListener("change", () => commit());
    num.addEventListener("change", () => num.value !== "" && commit({ [name]: +num.value }));
    sliders[name] = { input, paint(now) {
      put(input, { min: now.low, max: now.high, step: now.step, "aria-label": `${now.label}, ${now.unit}` });
      put(num, { step: "any" });
      text(unit, now.unit);
      pin.hidden = now.pin == null;
      if (now.pin != null) pin.style.left = pct(now.pin, now.low, now.high) + "%";
      if (document.activeElement !== input || Date.now() - mine > 150) show(now.value);
    }, strip: (levels) => strip.replaceChildren(...(levels || []).map((l) => el("b." + l))) };
    return field(el("label", { htmlFor: key }, f.label), el("span.val", {}, num, unit), el("div.track", {}, input,
      pin), S.main.includes(name) ? strip : null);
  }
  const select = (name, options, words) => el("select", { id: `${id}-${name}`, "aria-label": words, onchange: (e) =>
    e.target.value && commit({ [name]: e.target.value }) }, ...choices(options));
  const steel = select("steel", S.steels.map((g) => [g, g]), "steel"), head = select("head", S.heads.map((h) => [h,
    h]), "head");
  const cooling = select("cooling", Object.entries(S.cooling), "cooling");
  const link = (words, to) => el("button.link", { onclick: () => sheet(to) }, words);
  const analysis = el("textarea", { rows: 4, "aria-label": "contents in wt%, such as C=0.31 Mn=0.5 Cr=0.95 Mo=0.2" });
  const numbers = Object.fromEntries(S.headNumbers.map((n) => [n, el("input", { type: "number", step: "any",
    "aria-label": n.replaceAll("_", " ") })]));
  const back = (words) => el("div.line", {}, el("strong", {}, words), link("‹ back", "main"));
  const sheets = {
    main: [field(el("label", { htmlFor: `${id}-steel` }, "steel"), link("own analysis", "steel"), steel),
      field(el("label", { htmlFor: `${id}-head` }, "head"), link("own head", "head"), head), ...S.main.map(slider),
      field(el("label", { htmlFor: `${id}-cooling` }, "cooling"), link("delay, water, die …", "further"), cooling),
      el("div.key", {}, ...["good", "marginal", "out"].map((l) => el("span", {}, el("b." + l), WORD[l])))],
    further: [back("Further settings"), ...S.further.map(slider)],
    steel: [back("Own analysis, wt%"), analysis, el("button.small", { onclick: () => send({ do: "steel",
      text: analysis.value }) }, "Use this steel"),
      el("p.words.small", {}, "What is left out counts as none. A grade of the list brings its usual residuals.")],
    head: [back("Own head"), ...S.headNumbers.map((n) => el("label.own", {}, n.replace("_mm", "").replaceAll("_",
      " "), numbers[n])),
      el("button.small", { onclick: () => send({ do: "head", set: Object.fromEntries(Object.entries(numbers).map(([k,
        i]) => [k, i.value === "" ? null : +i.value])) }) }, "Use this head")], };
  const rail = el("div.rail", { role: "form", "aria-label": "settings" });
  const pages = Object.fromEntries(Object.entries(sheets).map(([k, v]) => [k, el("div.sheet",
    { hidden: k !== "main" }, ...v)]));
  rail.append(...Object.values(pages));
  function sheet(name) { for (const k in pages) pages[k].hidden = k !== name;
    pages[name].querySelector("input,select,textarea,button")?.focus(); }

  // ---- tiles; limits are edited in them
  const limits = {};
  const lim = (name, end, words) => (limits[name + end] = el("input.lim", { "aria-label": words, inputMode: "decimal",
    onchange: (e) => send({ do: "limit", name, end, value: e.target.value.trim() === "" ? null
      : +e.target.value.replace(",", ".") }) }));
  function tile(key, words, foot) {
    const value = el("span.value"), unit = el("span.unit"), second = el("span.second"), a = el("span.a"),
      mark = el("span.mark"), word = el("span.word");
    const band = el("i.band"), span = el("i.span"), dot = el("i.dot"), parts = { value, unit, second, a };
    const root = el("section.tile", { role: "group", "aria-label": words, "data-tile": key }, el("div.top", {},
      el("span.title", {}, words), el("span.badge", {}, mark, word)),
      el("div.mid", {}, value, unit, second, a), el("div.bar", {}, band, span, dot), el("div.limit", {}, ...foot));
    return { root, paint(t) {
      for (const k in parts) text(parts[k], t[k]);
      root.dataset.level = t.level;
      text(mark, MARK[t.level]); text(word, t.word || WORD[t.level]);
      for (const [e, [lo, hi]] of [[band, t.gauge.band], [span, t.gauge.span]]) { e.style.left = lo + "%";
        e.style.right = 100 - hi + "%"; }
      dot.style.left = t.gauge.dot + "%";
    } };
  }
  const faceScale = el("span"), forceUnit = el("span", {}, "");
  const tiles = { face: tile("face", "Face hardness", ["limits ", lim("face_hardness_hv", 0, "lowest face hardness"),
    " to ", lim("face_hardness_hv", 1, "highest face hardness"), " ", faceScale]),
    hosel: tile("hosel", "Hosel bends", ["at least ", lim("hosel_allowed_deg", 0, "required hosel bend, degrees"),
      "°, pull at most ", lim("bar_force_n", 1, "greatest pull"), " ", forceUnit]),
    sure: tile("sure", "Setting is right", ["model's doubt; heads: shop's scatter"]) };
  const signs = el("ul.signs", { "aria-label": "signs" }, ...[0, 1, 2, 3].map(() => el("li", {}, el("span.mark"),
    el("b"), el("span.what"))));
  const say = el("p.say", { role: "status", "aria-live": "polite" }), cure = el("button.cure", { hidden: true,
    onclick: () => send({ do: "remedy" }) });
  const cost = el("span.cost"), grade = el("b.mark", { "aria-hidden": "true" }),
    says = el("div.says", {}, grade, say, cost, cure);

  // ---- head and tabs
  const picture = headPicture(id, (z) => { picked = picked === z ? null : z; paint(); }), plot = coolingPlot();
  const purpose = select("purpose", [["", "own limits"], ...S.purposes.map((p) => [p, p])], "limits by purpose");
  const numbersNow = () => model.get("more").numbers || [];
  const box = el("figure.headbox", {}, el("figcaption", {}, el("span", {}, "Limits: ", purpose), exports("head",
    numbersNow, () => picture.root)), picture.root);
  const chart = el("div.chart", {}, plot.root), phases = el("div.phases"), table = el("div.zones"),
    temps = el("p.axis");
  const curveMenu = exports("cooling", plot.rows, () => plot.root);
  const why = el("div.why.withmenu", {}, curveMenu, chart, phases, table, temps), other = el("div.other"),
    busy = el("div.busy", { hidden: true });
  const tabs = el("div.tabs", { role: "tablist", "aria-label": "more about this job" },
    ...Object.entries(S.tabs).map(([k, w]) => el("button", { role: "tab", id: `${id}-t-${k}`, "data-tab": k,
    "aria-controls": `${id}-p`, onclick: () => show(k) }, w)));
  tabs.addEventListener("keydown", (e) => {
    const go = { ArrowRight: 1, ArrowLeft: -1 }[e.key], k = Object.keys(S.tabs);
    if (go) { show(k[(k.indexOf(tab) + go + k.length) % k.length]); tabs.querySelector(`[data-tab=${tab}]`).focus(); }
  });
  const panel = el("div.panel", { role: "tabpanel", id: `${id}-p`, tabindex: -1 }, why, other, busy);
  function show(k) {
    tab = k;
    for (const b of tabs.children) { const on = b.dataset.tab === k; b.setAttribute("aria-selected", String(on));
      b.tabIndex = on ? 0 : -1; }
    panel.setAttribute("aria-labelledby", `${id}-t-${k}`);
    why.hidden = k !== "why"; other.hidden = k === "why";
    root.classList.toggle("tabbed", k !== "why");
    if (k !== "why" && model.get("content").tab !== k) other.replaceChildren(el("p.words", {}, "Calculating …"));
    send({ do: "tab", tab: k });
    paintContent();
    fit();
  }
  function paintContent() {
    const c = model.get("content"), b = model.get("busy") || {};
    if (c.tab === tab && tab !== "why" && c !== paintContent.last) {
      redraw(other, c.blocks, api);
      paintContent.last = c;
    }
    other.classList.toggle("stale", c.version !== s.version || c.tab !== tab);
    busy.hidden = !b.words;
    const on = b.share != null;                              // or stopped
    if (b.words) busy.replaceChildren(on ? el("progress", { max: 1, value: b.share, "aria-label": b.words }) : "",
      b.words + " ", el("button.small", { onclick: () => send(on ? { do: "stop" } : { do: "tab", tab }) }, on ? "Stop"
        : "Calculate"));
  }

  // ---- header
  const icon = (name, mark, act) => el("button.icon", { title: name, "aria-label": name, onclick: act }, mark);
  const undo = icon("Undo (Ctrl+Z)", "↶", () => send({ do: "undo" })), redo = icon("Redo (Ctrl+Y)", "↷", () =>
    send({ do: "redo" }));
  const history = menu("History", "⋯", () => (s.steps?.length ? s.steps : ["nothing changed yet"]).map((w, i) => [w,
    () => s.undo && send({ do: "undo", steps: i + 1 })]));
  const pin = el("button.text", { "aria-pressed": "false", title: "Keep this job as A to compare with", onclick: () =>
    send({ do: "pin" }) }, "Pin A");
  const file = el("input", { type: "file", accept: ".json", hidden: true, "aria-label": "job file",
    onchange: async () => { send({ do: "load", text: await file.files[0].text() }); file.value = ""; } });
  const units = UNITS.map((u, i) => el("select.units", { "aria-label": ["temperature unit", "length unit",
    "hardness scale"][i], onchange: () => send({ do: "units", units: units.map((e) => e.value) }) },
    ...choices(u.map((v) => [v, v]))));
  const title = el("h1"), sub = el("span.sub"), shop = el("span.shop");
  const nav = el("nav", { "aria-label": "job" }, ...units, undo, redo, history, pin, el("button.text", { onclick: () =>
    file.click() }, "Open"), el("button.text", { onclick: () => download("job.json", model.get("saved"),
    "application/json") }, "Save"), file);
  const root = framed(host, [el("div.id", {}, title, sub, shop), nav], el("div.cols", {}, rail, el("main", {},
    el("div.tiles", {}, ...Object.values(tiles).map((t) => t.root)), says, signs, el("div.stage", {}, box,
    el("div.card", {}, tabs, panel)))), el("details.caution", {}, el("summary", { title: "All cautions" }, S.caution),
    el("ul", {}, ...S.cautions.map(([k, v]) => el("li", {}, el("b", {}, k + ". "), v)))));
  root.addEventListener("keydown", (e) => {
    if (!(e.ctrlKey || e.metaKey) || /number|textarea/.test(e.target.type)) return;
    const k = e.key.toLowerCase(), go = k === "z" && !e.shiftKey ? "undo" : k === "y" || k === "z" ? "redo" : null;
    if (go) { send({ do: go }); e.preventDefault(); e.stopPropagation(); }
  });

  // ---- state → page
  const choose = (e, v, extra) => {
    if (extra && v && ![...e.options].some((o) => o.value === v)) e.append(el("option", { value: v }, v));
    e.value = v;
  };
  function paint() {
    s = model.get("state");
    text(title, s.title); text(sub, s.compared ? `A → now: ${s.compared}` : s.sub);
    text(shop, s.shop && `shop: ${s.shop}`);
    choose(steel, s.steel, true); choose(head, s.head, true); choose(cooling, s.cooling); choose(purpose, s.purpose);
    units.forEach((e, i) => (e.value = s.units[i]));
    for (const k in sliders) sliders[k].paint(s.fields[k]);
    for (const k in tiles) tiles[k].paint(s.tiles[k]);
    const edit = (key, v) => { if (document.activeElement !== limits[key]) limits[key].value = v ?? ""; };
    edit("face_hardness_hv0", s.tiles.face.ends[0]); edit("face_hardness_hv1", s.tiles.face.ends[1]);
    edit("hosel_allowed_deg0", s.tiles.hosel.ends[0]); edit("bar_force_n1", s.tiles.hosel.ends[1]);
    text(faceScale, s.tiles.face.scale); text(forceUnit, s.tiles.hosel.force);
    s.signs.forEach((g, i) => {
      const li = signs.children[i];
      li.dataset.level = g.level; li.title = li.ariaLabel = `${g.name}: ${g.text}, ${WORD[g.level]}`;
      text(li.children[0], MARK[g.level]); text(li.children[1], g.name); text(li.children[2], g.text);
    });
    text(say, s.note || s.sentence);
    says.dataset.level = s.note ? "out" : s.level; text(grade, MARK[says.dataset.level]);
    undo.disabled = !s.undo; redo.disabled = !s.redo;
    pin.setAttribute("aria-pressed", String(s.pinned)); text(pin, s.pinned ? "Unpin A" : "Pin A");
    picture.update(s, picked);
    plot.draw(s, floats(model.get("curves")), floats(model.get("ghost")));
    const zones = picked && picked !== "face" && picked !== "hosel" ? ["face", picked, "hosel"] : ["face", "hosel"];
    phases.replaceChildren(...zones.map((z) => {
      const shares = Object.keys(PHASE).filter((p) => s.zones[z].phases[p]).map((p) => [p, s.zones[z].phases[p]]);
      return el("div.ph", {}, el("span", {}, z), el("div.stack", { role: "img", "aria-label": `${z}: ` + shares.map(([p,
        v]) => `${p} ${v} %`).join(", ") }, ...shares.map(([p, v]) => el("i", { title: `${p} ${v} %`,
        style: `flex:${v};background:${PHASE[p]};color:${p === "martensite" ? "#fff" : "#10151F"}` }, v > 16
          ? `${p} ${v} %` : ""))));
    }));
    table.replaceChildren(BLOCKS.table({ head: ["zone", "8 of 10 lots", "800 to 500°", "rate at 700°"].map((h) =>
      s.temperature === "°F" ? h.replace("800 to 500°", "1472 to 932°").replace("700°", "1292°") : h),
      rows: s.why.rows, here: ZONES.indexOf(picked), name: "zones" }, api));
    text(temps, s.why.temperatures);
    root.classList.toggle("moving", !s.exact);
    paintMore();
    paintContent();
  }
  function paintFirst() {                                    // while a slider moves: numbers and curves before the rest
    const { zones, value, second, n: of } = model.get("first");
    for (const z in zones) s.zones[z].text = zones[z];
    picture.update(s, picked); tiles.face.paint(Object.assign(s.tiles.face, { value, second }));
    plot.draw(s, floats(model.get("curves")), floats(model.get("ghost")));
    if (of !== n) return;
    clearTimeout(ticking);
    (window.forgepropsTimes ||= []).push(took = performance.now() - begun);
  }
  function paintMore() {
    const m = model.get("more") || {}, now = m.version === s.version && s.exact && m.remedy;
    for (const k of S.main) sliders[k].strip((m.strips || {})[k]);
    if (!now && document.activeElement === cure) root.focus();  // else the keys go nowhere
    cure.hidden = !now; cost.hidden = !now;
    if (now) { text(cure, m.remedy.label); text(cost, `${m.remedy.gives}; costs ${m.remedy.costs}`); }
  }
  const clear = fitted(host, root, () => tab === "why" && plot.size(chart.clientWidth, chart.clientHeight)),
    fit = clear.fit;
  model.on("change:first", paintFirst); model.on("change:state", paint); model.on("change:more", paintMore);
  model.on("change:content change:busy", paintContent);
  // without a file behind it the job stays in the reader's browser
  const keep = "forgeprops-job";
  if (!S.keeps) {
    const kept = localStorage.getItem(keep);
    if (kept) send({ do: "load", text: kept });
    model.on("change:saved", () => localStorage.setItem(keep, model.get("saved")));
  }
  const opened = () => { analysis.value = s.analysis || "";
    for (const n in numbers) if (s.own?.[n] != null) numbers[n].value = s.own[n]; };
  root.addEventListener("click", (e) => e.target.classList.contains("link") && opened());
  show(tab); paint();
  return clear;
}
export default { render };
