/* Puts the parts together and answers the reader. */
geosand.start = function (map, control, themes, groups) {
  const { byId } = geosand;
  const page = Object.assign(geosand.site(JSON.parse(byId("gs-data").textContent)), {
    map,
    control,
    themes,
    groups,
  });
  const parts = [
    "colours",
    "drawing",
    "cells",
    "brief",
    "labels",
    "furniture",
    "account",
    "ledger",
    "chart",
    "card",
    "opening",
    "legend",
    "printing",
  ];
  parts.forEach((name) => geosand[name](page));

  /* ---- what has to be done again, by what was changed ---- */
  function recolour() {
    document.body.dataset.theme = page.table.dataset.theme = page.theme;
    page.legend();
    page.redraw();
    page.fitRows();
    page.refreshCard();
  }
  function refigure() {
    page.account();
    page.filter();
    page.fillTable();
    recolour();
    page.labelSoon();
  }
  map.on("baselayerchange", (event) => {
    const before = page.theme;
    page.theme = Object.keys(themes).find((key) => themes[key] === event.layer) || before;
    recolour();
    page.relabel();
    page.say(page.data.themes[page.theme]);
  });
  map.on("overlayadd overlayremove", (event) => {
    if (event.layer === groups.names) page.label();
    if (event.layer === groups.catches || event.layer === groups.passes) {
      page.redraw();
      page.label();
      page.legend();
    }
  });
  byId("gs-period").addEventListener("change", (event) => {
    page.period = Number(event.target.value);
    document.querySelector(".side").scrollTop = 0;
    refigure();
    page.say(page.periodAt().label);
  });
  document.querySelectorAll("input[name=gs-units]").forEach((radio) =>
    radio.addEventListener("change", () => {
      page.units = radio.value;
      document.querySelectorAll("span[data-units]").forEach((line) => {
        line.hidden = line.dataset.units !== page.units;
      });
      page.scaleBar();
      refigure();
      page.say(radio.parentNode.textContent + " units");
    }),
  );
  ["gs-search", "gs-kind", "gs-state"].forEach((id) =>
    byId(id).addEventListener("input", () => {
      page.filter();
      page.redraw();
      page.say(geosand.plural(page.fitRows(), "surface") + " in the table");
      page.labelSoon();
    }),
  );
  document.querySelectorAll("a[data-s]").forEach((link) =>
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return; // another tab, as with any link
      event.preventDefault();
      page.goTo(page.surfaces[Number(link.dataset.s)], link, event.detail === 0);
    }),
  );
  page.table.tBodies[0].addEventListener("click", (event) => {
    const button = event.target.closest("th button");
    if (button)
      page.goTo(page.surfaces[Number(button.closest("tr").dataset.s)], button, event.detail === 0);
  });

  /* An address that ends in # and an id opens that dressing or surface. */
  function follow() {
    const id = location.hash.slice(1),
      period = page.data.periods.findIndex(({ key }) => key === id),
      surface = page.surfaces.find((one) => one.id === id);
    if (period >= 0) {
      byId("gs-period").value = page.period = period;
      refigure();
    } else if (surface) page.goTo(surface);
  }
  addEventListener("hashchange", follow);

  /* ---- begin ---- */
  page.drawPatterns();
  byId("gs-layers").append(control.getContainer());
  const base = control.getContainer().querySelector(".leaflet-control-layers-base");
  base.setAttribute("role", "radiogroup");
  base.setAttribute("aria-label", "View");
  page.home();
  page.scaleBar();
  refigure();
  map.on("zoomend moveend", () => {
    page.redraw();
    page.labelSoon();
  });
  new ResizeObserver(() => {
    if (document.documentElement.classList.contains("printing")) return;
    const was = page.atHome;
    map.invalidateSize({ pan: !was, animate: false });
    if (was) page.home();
    page.label(); // at once: a picture of the window may be the last that is drawn
    page.bringIn();
  }).observe(map.getContainer());
  page.label();
  if (location.hash) follow();
  document.body.dataset.ready = "yes";
};
