// Small helpers: elements, text, files. Plain DOM and SVG; the scripts of this folder are joined in one module.
const NS = "http://www.w3.org/2000/svg";
const ZONES = ["face", "rim", "body", "neck", "hosel"];
const WORD = { good: "inside", marginal: "not sure", out: "outside", none: "no limit" };
const MARK = { good: "✓", marginal: "!", out: "✕", none: "–" };
const PHASE = { martensite: "#3A3F4B", bainite: "#7A8AA0", pearlite: "#B9A58A", ferrite: "#E7DFCF",
  austenite: "#9FC0A0", untransformed: "#D5D8DD" };
let views = 0;

// el("button.link", { onclick }, "text"); JupyterLab's shortcuts look at the focused element itself
function el(tag, props = {}, ...kids) {
  const [name, ...classes] = tag.split("."), e = document.createElement(name);
  if (classes.length) e.className = classes.join(" ");
  if (/^(button|input|select|summary|textarea)$/.test(name)) e.setAttribute("data-lm-suppress-shortcuts", "true");
  if (name === "button") e.type = "button";
  for (const [k, v] of Object.entries(props)) {
    if (v == null) continue;
    if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
    else if (k in e && k !== "list") e[k] = v;
    else e.setAttribute(k, v);
  }
  e.append(...kids.filter((k) => k != null));
  return e;
}
function svg(tag, props = {}, ...kids) {
  const e = document.createElementNS(NS, tag);
  put(e, props); e.append(...kids);
  return e;
}
const put = (e, props) => { for (const k in props) e.setAttribute(k, props[k]); };
const text = (e, s) => { if (e.textContent !== s) e.textContent = s; };
const label = (props, words) => { const e = svg("text", props); e.textContent = words; return e; };
const pct = (v, lo, hi) => Math.max(0, Math.min(100, (100 * (v - lo)) / (hi - lo)));
const floats = (d) => d ? new Float32Array(Uint8Array.from(atob(d), (c) => c.charCodeAt(0)).buffer) : null;
const dated = (name) => name.replace(".", `-${new Date().toISOString().slice(0, 16).replace(/[T:]/g, "")}.`);

// Under a page server: a menu of all pages
const PAGES = { "00_start_here": "Start", "01_the_head": "The head", "02_forging_temperature": "Forging temperature",
  "03_compare_grades": "Grades", "04_settings_and_scatter": "Settings", "05_hosel_bench": "Bench",
    "06_shop_data": "Shop", "07_how_far_to_trust_it": "Trust", "08_why_face_and_hosel_differ": "Lesson" };
const siteMenu = () => !/\/voila\/render\//.test(location.pathname) ? null : menu("All pages", "☰",
  Object.entries(PAGES).map(([file, words]) => [words, () => location.assign(file + ".ipynb")]));

// As tall as what scrolls around it shows; what it returns ends the watching
function fitted(host, root, then = () => {}) {
  const fit = () => {
    if (!host.isConnected) return;
    const lab = host.closest(".jp-NotebookPanel"), scroller = host.closest(".jp-WindowedPanel-outer"),
      c = host.closest(".jp-Cell"), top = host.getBoundingClientRect().top;
    document.body.classList.toggle("fpg-alone", !lab);
    const room = lab && scroller ? scroller.clientHeight - (top - c.getBoundingClientRect().top) - 24
      : innerHeight - (top + scrollY) - 10;
    root.style.height = Math.max(520, Math.min(room, 940)) + "px";
    requestAnimationFrame(then);
  };
  const watch = new ResizeObserver(fit), later = [50, 600].map((ms) => setTimeout(fit, ms));
  watch.observe(host);
  addEventListener("resize", fit);
  return Object.assign(() => { watch.disconnect(); removeEventListener("resize", fit); later.forEach(clearTimeout); },
    { fit });
}

// A page around a body: menu and title above, the caution below
function framed(host, head, body, caution) {
  const root = el("div.fpg", { lang: "en", tabIndex: -1, "data-lm-suppress-shortcuts": "true",
    "data-jp-suppress-context-menu": "true" }, el("header", {}, siteMenu(), ...head), body, caution);
  host.classList.add("fpg-host"); host.append(root);
  return root;
}
const shell = (host, head, body, caution) => fitted(host, framed(host, head, body, el("p.caution", {}, caution)));
const choices = (pairs, now) => pairs.map(([value, words]) => el("option", { value, selected: value === now }, words));

// ---- files and the clipboard
function download(name, data, type, named = dated) {
  const url = URL.createObjectURL(data instanceof Blob ? data : new Blob([data], { type }));
  el("a", { href: url, download: named(name) }).click(); setTimeout(() => URL.revokeObjectURL(url), 2000);
}
const cell = (v) => (/[",\n]/.test(v) ? `"${String(v).replaceAll('"', '""')}"` : String(v));
const safe = (v) => (/^[=+\-@\t]/.test(v) && !/^-?[\d.]+$/.test(v) ? "'" + v : String(v));
const asCsv = (rows) => rows.map((r) => r.map((v) => cell(safe(v))).join(",")).join("\r\n");
function drawing(node) {                             // a copy that carries its look
  const copy = node.cloneNode(true), box = node.getBoundingClientRect(), from = node.querySelectorAll("*");
  copy.querySelectorAll("*").forEach((e, i) => {
    const look = getComputedStyle(from[i]);
    if (e.tagName === "text" || e.tagName === "tspan") e.setAttribute("style",
      `font:${look.fontWeight} ${look.fontSize} sans-serif;fill:${look.fill}`);
  });
  put(copy, { xmlns: NS, width: box.width, height: box.height });
  return new XMLSerializer().serializeToString(copy);
}
const saveSvg = (node, name) => download(name + ".svg", drawing(node), "image/svg+xml");
function savePng(node, name) {
  const box = node.getBoundingClientRect(), picture = new Image(), canvas = el("canvas", { width: 2 * box.width,
    height: 2 * box.height });
  picture.onload = () => {
    const g = canvas.getContext("2d");
    g.fillStyle = "#fff"; g.fillRect(0, 0, canvas.width, canvas.height);
    g.drawImage(picture, 0, 0, canvas.width, canvas.height);
    canvas.toBlob((b) => download(name + ".png", b));
  };
  picture.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(drawing(node));
}
const copy = (rows) => navigator.clipboard?.writeText(rows.map((r) => r.join("\t")).join("\n"));

// A menu of commands under a small button
function menu(name, sign, items) {
  const list = el("div"), root = el("details.menu", {}, el("summary", { "aria-label": name, title: name }, sign), list);
  const fill = () => list.replaceChildren(...(items.call ? items() : items).map(([words, act]) =>
    el("button", { onclick: () => { root.open = false; act(); } }, words)));
  root.addEventListener("focusout", (e) => { if (!root.contains(e.relatedTarget)) root.open = false; });
  root.addEventListener("keydown", (e) => { if (e.key === "Escape") root.open = false; });
  root.addEventListener("toggle", fill);
  return root;
}
