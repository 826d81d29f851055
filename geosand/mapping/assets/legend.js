/* The legend of the view that is shown. */
geosand.legend = function (page) {
  const { make, draw, number, byId } = geosand,
    { map, data, surfaces, groups } = page;
  const NOTHING = {
    depth: "Not measured in this period",
    shortfall: "No shortfall in this period: nothing was planned, or nothing measured",
    overthrow: "No overthrow drawn in this period",
    catches: "No catch to hold against an estimate in this period",
  };
  function swatch(colour, text) {
    const sign = make("i");
    sign.style.background = colour;
    return make("li", "", sign, text);
  }
  /* Less, about, more: by shape and size as well as by colour. */
  function dot(at, text) {
    const size = [8, 6, 4.5, 6, 8][at],
      side = Math.sign(at - 2);
    const path = side
      ? `M0 ${side * -size}L${size} ${side * size * 0.9}H${-size}Z`
      : `M${-size} 0a${size} ${size} 0 1 0 ${2 * size} 0a${size} ${size} 0 1 0 ${-2 * size} 0Z`;
    const sign = draw(
      "svg",
      { viewBox: "-10 -10 20 20", width: 18, height: 18, "aria-hidden": "true" },
      draw("path", { d: path, fill: data.scales.catches[at], stroke: geosand.INK }),
    );
    return make("li", "", sign, text);
  }
  function kinds(list) {
    for (const kind in data.kinds) {
      const of = surfaces.filter((s) => s.kind === kind),
        total = of.reduce((sum, s) => sum + (s.area || 0), 0);
      list.append(swatch(data.kinds[kind], `${kind} · ${of.length} · ${page.show(total, "area", true)}`));
    }
  }
  const SHOWN = {
    overthrow: () => page.bands.map((band) => page.ringNow(band).depth),
    catches: () =>
      page.catches.filter((caught) => caught.used && page.inPeriod(caught)).map((caught) => caught.residual),
  };
  function labels(limits, decimals) {
    while (decimals && limits.every((limit) => Number(limit.toFixed(decimals - 1)) === limit)) decimals -= 1;
    const text = limits.map((limit) => number(limit, decimals)),
      joint = limits[0] < 0 ? " to " : "–";
    return [
      "under " + text[0],
      ...text.slice(1).map((limit, i) => text[i] + joint + limit),
      text[3] + " or more",
    ];
  }
  function classes(list) {
    const { theme } = page,
      own = SHOWN[theme] || (() => surfaces.map((s) => page.valueOf(page.now(s))));
    const limits = own().some((value) => value !== null) ? page.breaks() : [];
    if (!limits.length) {
      if (theme === "depth" && own().includes(0)) list.append(swatch(data.scales.depth[0], "no sand yet"));
      else list.append(make("li", "nothing", NOTHING[theme]));
      return;
    }
    const lines = labels(limits, theme === "catches" ? 0 : data.units[page.units].depth[2]);
    if (theme === "shortfall") {
      lines[0] += ", ahead";
      lines[4] += ", short";
    }
    if (theme === "catches") {
      lines[0] += ", less sand";
      lines[4] += ", more sand";
    }
    lines.forEach((line, i) =>
      list.append(theme === "catches" ? dot(i, line) : swatch(data.scales[theme][i], line)),
    );
    if (theme === "overthrow" && page.periodAt().doubt)
      list.append(make("li", "nothing", "not told from zero: dotted outlines"));
  }
  page.legend = function () {
    const list = byId("gs-classes"),
      { theme } = page;
    list.textContent = "";
    document.querySelectorAll("#gs-signs li").forEach((line) => {
      const { overlay, cells } = line.dataset;
      line.hidden =
        !line.dataset.for.split(" ").includes(theme) ||
        Boolean(overlay && !map.hasLayer(groups[overlay])) ||
        Boolean(cells && !page.hasFields());
    });
    document.querySelectorAll("#gs-signs [data-m]").forEach((node) => {
      node.textContent = page.show(Number(node.dataset.m), "depth");
      node.nextElementSibling.lastElementChild.textContent = page.unitOf("depth");
    });
    const unit = theme === "areas" || theme === "catches" ? "" : ", " + page.unitOf("depth");
    byId("gs-legend-title").textContent = data.legends[theme] + unit;
    (theme === "areas" ? kinds : classes)(list);
  };
};
