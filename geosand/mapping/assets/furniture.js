/* What a map sheet has beside its subject: land, grid, scale bar, north arrow, the whole site. */
geosand.furniture = function (page) {
  const { make, draw, INK } = geosand,
    { map, surfaces, data } = page;
  const drawn = surfaces.filter((surface) => surface.bounds);
  const around = (list) => L.latLngBounds(list.map((surface) => surface.bounds));
  /* The site is what has sand or a target and what lies beside it: map data may bring the lake of
     the next village. */
  const subject = drawn.filter((surface) => surface.active);
  const everywhere = around(subject.length ? drawn.filter(beside(around(subject))) : drawn);
  /* Half as far again on each side, or 500 m, as on the printed map; and what reaches into it. */
  function beside(box) {
    const grown = box.pad(0.5);
    [box.getSouthWest(), box.getNorthEast()].forEach((corner) => grown.extend(corner.toBounds(1000)));
    return ({ bounds }) => grown.contains(bounds) || box.intersects(bounds);
  }
  const quiet = (options) =>
    Object.assign({ renderer: page.groundRenderer, pane: "gs-ground", interactive: false }, options);

  function land() {
    const fill = (rings, options) =>
      L.polygon(
        rings,
        quiet(Object.assign({ stroke: false, fillOpacity: 1, smoothFactor: 0.5 }, options)),
      ).addTo(map);
    fill(page.outline(data.ground), { fillColor: "#e9eddc", stroke: true, color: "#cdd3b8", weight: 1 });
    grid();
    const kinds = new Map([["fairway", []]]);
    surfaces.forEach(({ kind, rings }) => {
      if (!kinds.has(kind)) kinds.set(kind, []);
      kinds.get(kind).push(...rings);
    });
    kinds.forEach((rings, kind) => {
      if (rings.length) fill(rings, { fillColor: page.groundColour(kind) });
    });
  }
  function grid() {
    if (!everywhere.isValid()) return;
    const all = everywhere.pad(1.2),
      [south, west] = [all.getSouth(), all.getWest()];
    const north = 1 / 111195,
      east = north / Math.max(Math.cos((all.getCenter().lat * Math.PI) / 180), 1e-3);
    const tall = (all.getNorth() - south) / north,
      wide = (all.getEast() - west) / east;
    let step = 100,
      turn = 0;
    while (Math.max(tall, wide) / step > 60) step *= turn++ % 2 ? 2 : 5;
    const lines = [];
    for (let m = 0; m <= wide; m += step)
      lines.push([
        [south, west + m * east],
        [all.getNorth(), west + m * east],
      ]);
    for (let m = 0; m <= tall; m += step)
      lines.push([
        [south + m * north, west],
        [south + m * north, all.getEast()],
      ]);
    L.polyline(lines, quiet({ color: "#b9b49f", weight: 0.5, opacity: 0.6 })).addTo(map);
  }

  let scale = null;
  page.scaleBar = function () {
    if (scale) scale.remove();
    if (!everywhere.isValid()) return;
    scale = L.control
      .scale({ metric: page.units === "metric", imperial: page.units === "us", maxWidth: 130 })
      .addTo(map);
  };
  function northArrow() {
    const letter = draw("text", { x: 12, y: 38.5, "text-anchor": "middle", "font-size": 11 });
    letter.textContent = "N";
    const arrow = L.control({ position: "topright" });
    arrow.onAdd = () =>
      make(
        "div",
        "gs-north",
        draw(
          "svg",
          { viewBox: "0 0 24 40", width: 24, height: 40, role: "img", "aria-label": "North is up" },
          draw("path", { d: "M12 1 19 26 12 21.5 5 26Z", fill: "none", stroke: INK, "stroke-width": 1.2 }),
          draw("path", { d: "M12 1 12 21.5 5 26Z", fill: INK }),
          letter,
        ),
      );
    arrow.addTo(map);
  }
  function wholeSite() {
    const control = L.control({ position: "topleft" });
    control.onAdd = () => {
      const button = make(
        "button",
        "gs-whole",
        draw(
          "svg",
          { viewBox: "0 0 18 18", width: 18, height: 18, "aria-hidden": "true" },
          draw("path", {
            d: "M2 6.5V2h4.5M11.5 2H16v4.5M16 11.5V16h-4.5M6.5 16H2v-4.5",
            fill: "none",
            stroke: INK,
            "stroke-width": 1.8,
          }),
          draw("circle", { cx: 9, cy: 9, r: 2.2, fill: INK }),
        ),
      );
      button.type = "button";
      button.title = "Whole site";
      button.setAttribute("aria-label", "Whole site");
      button.addEventListener("click", () => {
        map.closePopup();
        page.home();
      });
      L.DomEvent.disableClickPropagation(button);
      return button;
    };
    control.addTo(map);
  }

  /* ---- the view of the whole site, kept while the window changes ---- */
  page.atHome = false;
  page.home = function () {
    if (!everywhere.isValid()) map.setView([0, 0], 2);
    else {
      const narrow = map.getSize().x < 500;
      map.fitBounds(everywhere, {
        paddingTopLeft: narrow ? [46, 28] : [54, 30],
        paddingBottomRight: narrow ? [26, 30] : [46, 34],
        maxZoom: 20,
        animate: false,
      });
    }
    page.atHome = true;
  };
  map.on("movestart zoomstart", () => {
    page.atHome = false;
  });

  /* Nothing is asked for until the box is ticked. */
  function background() {
    if (!data.background) return;
    const [address, credit] = data.background,
      note = document.createElement("span");
    note.textContent = credit;
    map.createPane("gs-tiles").style.zIndex = 260; // upon the land that is drawn, beneath the turf
    const tiles = L.tileLayer(address, {
      pane: "gs-tiles",
      maxNativeZoom: 19,
      maxZoom: 23,
      opacity: 0.75,
      attribution: note.innerHTML,
    });
    page.control.addOverlay(tiles, "Background (asks the internet)");
    L.control.attribution({ prefix: false, position: "bottomright" }).addTo(map);
  }
  land();
  northArrow();
  wholeSite();
  background();
};
