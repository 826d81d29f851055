/* On paper: the whole site on the first page at a size that any sheet holds, either way round. */
geosand.printing = function (page) {
  const { map, columns } = page;
  let before = null;
  /* A repeated heading row prints no buttons, so their words stand in the cells meanwhile. */
  function bareHeadings(bare) {
    columns.forEach((head) => {
      const button = head.querySelector("button");
      if (bare) head.append(...button.childNodes);
      else button.append(...[...head.childNodes].filter((node) => node !== button));
      button.hidden = bare;
    });
  }
  function lists(open) {
    document.querySelectorAll("main details").forEach((list) => {
      if (open) {
        list.dataset.was = list.open;
        list.open = true;
      } else list.open = list.dataset.was === "true";
    });
  }
  addEventListener("beforeprint", () => {
    if (before) return;
    before = { atHome: page.atHome, centre: map.getCenter(), zoom: map.getZoom() };
    map.closePopup();
    document.documentElement.classList.add("printing");
    bareHeadings(true);
    lists(true);
    page.fitRows(true);
    map.invalidateSize({ pan: false, animate: false });
    page.home();
    page.redraw();
    page.label();
  });
  addEventListener("afterprint", () => {
    if (!before) return;
    document.documentElement.classList.remove("printing");
    bareHeadings(false);
    lists(false);
    page.fitRows();
    map.invalidateSize({ pan: false, animate: false });
    if (before.atHome) page.home();
    else map.setView(before.centre, before.zoom, { animate: false });
    before = null;
  });
  geosand.byId("gs-print").addEventListener("click", () => print());
};
