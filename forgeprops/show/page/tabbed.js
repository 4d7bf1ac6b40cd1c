// A page of tabs, each made of blocks that were calculated beforehand.
function render({ model, el: host }) {
  const { title, sub, tabs, caution } = model.get("static"), panel = el("div.other", { role: "tabpanel", tabIndex: 0 });
  const list = el("div.tabs", { role: "tablist" }, ...tabs.map((t, i) => el("button", { role: "tab", onclick: () =>
    show(i) }, t.title)));
  function show(i) {
    [...list.children].forEach((b, k) => put(b, { "aria-selected": String(k === i) }));
    panel.setAttribute("aria-label", tabs[i].title);
    panel.replaceChildren(drawBlocks(tabs[i].blocks, {}));
    panel.scrollTop = 0;
  }
  const clear = shell(host, [el("div.id", {}, el("h1", {}, title), el("span.sub", {}, sub))], el("div.card.whole", {},
    list, panel), caution);
  show(0);
  return clear;
}
export default { render };
