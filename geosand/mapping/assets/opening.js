/* How a card opens and closes, by mouse, finger and keyboard. */
geosand.opening = function (page) {
  const { byId } = geosand,
    { map, surfaces } = page;
  const popup = L.popup({ maxWidth: 640, autoPan: false, className: "gs-popup" });
  page.say = (text) => {
    byId("gs-live").textContent = text;
  };

  /* Brings the whole card into the map; at once, as nothing else moves then. */
  page.bringIn = function () {
    if (!popup.isOpen()) return;
    const frame = map.getContainer().getBoundingClientRect(),
      box = popup.getElement().getBoundingClientRect(),
      edge = 10;
    const off = (low, high, from, to) =>
      low < from + edge ? low - from - edge : Math.max(high - to + edge, 0);
    const by = [
      off(box.left, box.right, frame.left, frame.right),
      off(box.top, box.bottom, frame.top, frame.bottom),
    ];
    if (by[0] || by[1]) map.panBy(by.map(Math.round), { animate: false });
  };
  function show(where, content) {
    popup.options.maxHeight = Math.max(map.getSize().y - (map.getSize().x < 500 ? 150 : 50), 180);
    popup.options.maxWidth = Math.min(640, map.getSize().x - 56);
    popup.setLatLng(where).setContent(content).openOn(map);
    document.body.classList.add("card-open");
    fit();
  }
  function fit() {
    const body = popup.getElement().querySelector(".leaflet-popup-content");
    if (body.classList.contains("leaflet-popup-scrolled")) body.tabIndex = 0;
    page.bringIn();
  }
  // A list that is unfolded makes the card taller. Toggles do not bubble.
  map.getPane("popupPane").addEventListener(
    "toggle",
    () => {
      const here = document.activeElement;
      popup.update();
      here.focus({ preventScroll: true });
      fit();
    },
    true,
  );
  page.mark = function (index) {
    const before = surfaces[page.chosen];
    page.chosen = index;
    page.markRow(index);
    [before, surfaces[index]].forEach((surface) => {
      if (surface) page.repaint(surface);
    });
    if (surfaces[index]) page.raise(surfaces[index]);
  };
  /* ``at``: where upon the surface it was pressed. */
  let written = null; // what writes the card that is open
  page.open = function (surface, at) {
    page.spot = at || null;
    page.mark(surface.index);
    const top = L.latLng(surface.bounds.getNorth(), surface.bounds.getCenter().lng);
    written = () => page.describe(surface);
    show(page.near() ? top : surface.point, written());
    page.say(page.summary(surface));
  };
  page.openCatch = function (caught) {
    page.mark(-1);
    written = () => page.describeCatch(caught);
    show(caught.at, written());
    page.say(page.catchSummary(caught));
  };
  page.refreshCard = function () {
    if (!popup.isOpen()) return;
    const isOpen = () => popup.getElement().querySelector("details"),
      before = isOpen(),
      open = Boolean(before && before.open);
    popup.setContent(written());
    if (isOpen()) isOpen().open = open;
  };
  let opener = null;
  /* ``from``: the button that was pressed; by a key, the card is where the keyboard goes on. */
  page.goTo = function (surface, from, byKey) {
    opener = from || null;
    if (!surface.bounds) return;
    const frame = map.getContainer(),
      tall = frame.clientHeight,
      box = frame.getBoundingClientRect();
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (box.top < 0 || box.bottom > innerHeight)
      frame.scrollIntoView({ block: "nearest", behavior: still ? "auto" : "smooth" });
    map.fitBounds(surface.reach, {
      paddingTopLeft: [30, Math.min(tall * 0.55, 290)],
      paddingBottomRight: [30, 34],
      maxZoom: 20.5,
      animate: false,
    });
    page.open(surface);
    if (!byKey) return;
    const card = popup.getElement().querySelector(".card");
    card.tabIndex = -1;
    card.focus({ preventScroll: true });
  };
  map.on("popupclose", () => {
    document.body.classList.remove("card-open");
    page.mark(-1);
    // Only when the keyboard is inside the popup or nowhere is it sent back to where it came from.
    const here = document.activeElement;
    if (opener && (here === document.body || popup.getElement().contains(here)))
      opener.focus({ preventScroll: true });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && popup.isOpen()) map.closePopup();
  });

  /* ---- the mouse: bindTooltip would make each shape a Tab stop, so one tooltip follows it ---- */
  const tip = L.tooltip({ direction: "top", offset: [0, -8], className: "gs-tip" });
  const about = (layer) => layer.surface || (layer.band && surfaces[layer.band.surface]);
  const under = (event) => event.layer || event.propagatedFrom;
  function follow(event, text) {
    tip.setLatLng(event.latlng).setContent(document.createTextNode(text));
    if (!map.hasLayer(tip)) map.openTooltip(tip);
  }
  page.live
    .on("click", (event) => {
      L.DomEvent.stopPropagation(event);
      const surface = about(under(event));
      if (surface) {
        opener = null;
        page.open(surface, event.latlng);
      }
    })
    .on("mouseover mousemove", (event) => {
      const layer = under(event),
        surface = about(layer);
      if (!surface) return;
      const { band } = layer,
        cell = layer.surface && page.cellAt(surface, event.latlng);
      follow(
        event,
        cell
          ? `${surface.name}, here: ${page.show(cell[0], "depth", true)} ± ${page.show(cell[1], "depth")}`
          : band && page.near()
          ? `${surface.name}, ${band.zone}: ${page.show(page.ringNow(band).depth, "depth", true)}`
          : page.summary(surface),
      );
    });
  page.dots
    .on("click", (event) => {
      L.DomEvent.stopPropagation(event);
      opener = null;
      page.openCatch(under(event).caught);
    })
    .on("mouseover mousemove", (event) => follow(event, page.catchSummary(under(event).caught)));
  [page.live, page.dots].forEach((group) => group.on("mouseout", () => map.closeTooltip(tip)));
  map.on("zoomstart movestart", () => map.closeTooltip(tip));
};
