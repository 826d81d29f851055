/* Classes, colours and outlines. No state is told by colour alone: signs and hatching go with it. */
geosand.INK = "#2b2822";
geosand.CHOSEN = "#174a7c";
geosand.colours = function (page) {
  const { given, draw, INK, CHOSEN } = geosand,
    { data } = page;
  const BARE = "#fbfaf5",
    TURF = "#dfe7cf",
    PLAIN = "#f3ecda";
  const ground = { bunker: "#f1e6c3", water: "#bfd5e2", path: "#d9d2c4" };

  page.groundColour = (kind) => ground[kind] || (kind === "fairway" ? "#dde6c8" : "#d0dcb8");
  page.breaks = (name) => ((data.breaks[page.season() ? "season" : "dressing"] || {})[name || page.theme] || {})[page.units] || [];
  function level(value, factor, name) {
    const limits = page.breaks(name);
    if (value === 0 && !limits.length) return 0;
    return given(value) && limits.length ? limits.filter((limit) => value * factor >= limit).length : -1;
  }
  page.classOf = (depth, name) => level(depth, data.units[page.units].depth[0], name);
  page.residualClass = (caught) => level(caught.residual, 100, "catches");
  page.valueOf = (figures) => (page.theme === "depth" ? figures.depth_m : figures.shortfall_m);
  page.thrown = (band) => page.theme === "overthrow" && page.classOf(page.ringNow(band).depth) >= 0;

  function fill(surface) {
    const { theme } = page,
      figures = page.now(surface);
    if (theme === "areas") return data.kinds[surface.kind] || BARE;
    if (!surface.active) return ground[surface.kind] || TURF;
    if (theme === "overthrow") return given(figures.depth_m) || page.season() ? BARE : TURF;
    if (theme === "catches")
      return page.estimated(figures) ? "url(#gs-hatch)" : figures.dressed ? PLAIN : TURF;
    const at = page.classOf(page.valueOf(figures));
    if (at < 0) return "url(#gs-none)";
    return page.estimated(figures) ? `url(#gs-hatch-${theme}-${at})` : data.scales[theme][at];
  }
  /* Whether a surface is shown in a colour on which dark letters are hard to read. */
  page.dark = function (surface) {
    const { theme } = page,
      at = theme === "depth" || theme === "shortfall" ? page.classOf(page.valueOf(page.now(surface))) : -1;
    const colour = at < 0 ? fill(surface) : data.scales[theme][at];
    const part = (from) => parseInt(colour.slice(from, from + 2), 16) || 0;
    return colour[0] === "#" && 0.3 * part(1) + 0.59 * part(3) + 0.11 * part(5) < 118;
  };
  page.style = function (surface, far) {
    const marked = page.flagged(surface);
    const base = {
      fillColor: fill(surface),
      fillOpacity: 1,
      color: INK,
      weight: far ? 1 : 1.2,
      opacity: 0.85,
      dashArray: null,
    };
    if (!surface.active && page.theme !== "areas") Object.assign(base, { weight: 0.6, opacity: 0.4 });
    if (marked)
      Object.assign(base, {
        color: "#000",
        weight: far ? 2 : 2.6,
        opacity: 1,
        dashArray: far ? "3 2.5" : "7 5",
      });
    if (page.showsCells(surface)) base.fillOpacity = 0; // its cells lie beneath
    if (surface.faded) Object.assign(base, { fillOpacity: 0.15, opacity: 0.2 });
    if (surface.index === page.chosen)
      Object.assign(base, {
        color: CHOSEN,
        weight: far ? 3 : page.theme === "overthrow" ? 2 : 4,
        opacity: 1,
      });
    return base;
  };
  page.flagged = (surface) =>
    page.theme !== "areas" && page.theme !== "catches" && page.under(page.now(surface));
  page.bandStyle = function (band) {
    const at = page.theme === "overthrow" ? page.classOf(page.ringNow(band).depth) : -1;
    if (at < 0)
      return {
        fillColor: band.zone === "collar" ? "#cfd8ba" : "#dbe3c9",
        fillOpacity: 1,
        color: "#8b9377",
        weight: 0.5,
        opacity: 0.7,
        dashArray: null,
      };
    const doubt = page.periodAt().doubt;
    return {
      fillColor: data.scales.overthrow[at],
      fillOpacity: 1,
      color: "#4a3a66",
      weight: doubt ? 1.4 : 0.7,
      opacity: 0.9,
      dashArray: doubt ? "2 3" : null,
    };
  };

  /* Hatching for figures that are estimated from other surfaces, dots for no figure. */
  page.drawPatterns = function () {
    const defs = draw("defs", {});
    const light = "rgba(255,255,255,.75)",
      dark = "rgba(43,40,34,.55)";
    const tile = (id, colour, line) =>
      defs.append(
        draw(
          "pattern",
          { id, width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
          draw("rect", { width: 6, height: 6, fill: colour }),
          draw("path", { d: "M1 0V6", stroke: line, "stroke-width": 2.4 }),
        ),
      );
    data.scales.depth.forEach((colour, i) => tile(`gs-hatch-depth-${i}`, colour, i > 2 ? light : dark));
    data.scales.shortfall.forEach((colour, i) =>
      tile(`gs-hatch-shortfall-${i}`, colour, i === 0 ? light : dark),
    );
    tile("gs-hatch", PLAIN, dark);
    defs.append(
      draw(
        "pattern",
        { id: "gs-none", width: 6, height: 6, patternUnits: "userSpaceOnUse" },
        draw("rect", { width: 6, height: 6, fill: "#fff" }),
        draw("circle", { cx: 3, cy: 3, r: 1.1, fill: "#a69f8f" }),
      ),
    );
    // A sheet of their own: the map's drawing is emptied and filled again as it moves.
    document.body.append(
      draw("svg", { width: 0, height: 0, "aria-hidden": "true", class: "gs-patterns" }, defs),
    );
  };
};
