// A page of tabs, each made of blocks that were calculated beforehand.
function render({ model, el: host }) {
  const { title, sub, tabs, caution } = model.get("static"), panel = el("div.other", { role: "tabpanel", tabIndex: 0 });
  const list = el("div.tabs", { role: "tablist" }, ...tabs.map((t, i) => el("button", { role: "tab", onclick: () =>
    show(i) }, t.title)));
  function show(i) {
    [...list.children].forEach((b, k) => put(b, { "aria-selected": String(k === i) }));
    panel.setAttribute("aria-label", tabs[i].title); panel.replaceChildren(drawBlocks(tabs[i].blocks, {}));
    panel.scrollTop = 0;
  }
  const root = el("div.fpg", { lang: "en", "data-lm-suppress-shortcuts": "true" }, el("header", {}, siteMenu(),
    el("div.id", {},
    el("h1", {}, title), el("span.sub", {}, sub))), el("div.card.whole", {}, list, panel), el("p.caution", {},
      caution));
  host.classList.add("fpg-host"); host.append(root);
  show(0);
  return fitted(host, root);
}
export default { render };
