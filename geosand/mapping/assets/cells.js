/* Depth within a surface, as cells in the colours of the legend: close by, in the view of one dressing. */
geosand.cells = function (page) {
  const { draw, given } = geosand,
    { map, data, surfaces } = page;
  const pane = map.createPane("gs-cells"),
    renderer = L.svg({ pane: "gs-cells", padding: 0.5 });
  pane.style.zIndex = 395; // beneath the outlines
  pane.setAttribute("aria-hidden", "true");
  const key = (surface, at) => at + "/" + surface.index;
  const rows = new Map(data.fields.map((row) => [row[0] + "/" + row[1], row])),
    read = new Map();

  /* The grid of a surface in a period; null where none is known. */
  page.field = function (surface, at = page.period) {
    const row = rows.get(key(surface, at));
    if (!row) return null;
    if (!read.has(row)) {
      const [, , cell, ...rest] = row,
        [from, to] = [page.place(rest.slice(0, 2)), page.place(rest.slice(2, 4))],
        [width, depth, u] = rest.slice(4);
      const field = { cell, from, width, depth: page.figuresOf(depth, "cell"), u: page.figuresOf(u, "cell") };
      field.height = Math.ceil(field.depth.length / width);
      field.east = (to.lng - from.lng) / width;
      field.north = (to.lat - from.lat) / field.height;
      read.set(row, field);
    }
    return read.get(row);
  };
  page.hasFields = () => data.fields.some(([at]) => at === page.period);
  page.showsCells = (surface) =>
    page.theme === "depth" && page.near() && !surface.faded && Boolean(page.field(surface));
  const cellOf = (field, x, y) =>
    x < 0 || y < 0 || x >= field.width ? null : (field.depth[y * field.width + x] ?? null);
  /* Depth and its u where a point lies; null beside the cells. */
  page.cellAt = function (surface, at) {
    const field = page.showsCells(surface) && page.field(surface);
    if (!field) return null;
    const x = Math.floor((at.lng - field.from.lng) / field.east),
      y = Math.floor((at.lat - field.from.lat) / field.north);
    return given(cellOf(field, x, y)) ? [cellOf(field, x, y), field.u[y * field.width + x]] : null;
  };

  /* One drawing a class. A cell at the rim is drawn twice as wide, and all are cut to the outline. */
  function layersOf(surface) {
    const field = page.field(surface),
      classes = data.scales.depth.map(() => []);
    field.depth.forEach((depth, i) => {
      if (!given(depth)) return;
      const x = i % field.width,
        y = Math.floor(i / field.width),
        rim = (dx, dy) => (given(cellOf(field, x + dx, y + dy)) ? 0 : 1);
      const lat = (row) => field.from.lat + row * field.north,
        lng = (column) => field.from.lng + column * field.east;
      const [south, north] = [lat(y - rim(0, -1)), lat(y + 1 + rim(0, 1))],
        [west, east] = [lng(x - rim(-1, 0)), lng(x + 1 + rim(1, 0))];
      classes[page.classOf(depth, "depth")]?.push([
        [
          [south, west],
          [south, east],
          [north, east],
          [north, west],
        ],
      ]);
    });
    return classes.flatMap((cells, at) =>
      cells.length
        ? L.polygon(cells, {
            renderer,
            pane: "gs-cells",
            className: "gs-cell",
            interactive: false,
            stroke: false,
            fillRule: "nonzero",
            fillOpacity: 1,
            fillColor: data.scales.depth[at],
            smoothFactor: 0,
            noClip: true,
          })
        : [],
    );
  }
  const shown = new Map();
  function clear(surface) {
    const { layers, clip } = shown.get(surface);
    layers.forEach((layer) => layer.remove());
    clip.remove();
    shown.delete(surface);
  }
  page.drawCells = function (view) {
    const wanted = surfaces.filter((s) => page.showsCells(s) && s.polygon && view.intersects(s.bounds)),
      stamp = [page.period, page.units].join();
    [...shown.keys()].forEach((surface) => {
      if (!wanted.includes(surface) || shown.get(surface).stamp !== stamp) clear(surface);
    });
    wanted.forEach((surface) => {
      if (!shown.has(surface)) {
        const id = "gs-clip-" + surface.index,
          outline = draw("path", { "clip-rule": "evenodd" }),
          clip = draw("clipPath", { id }, outline),
          layers = layersOf(surface);
        document.querySelector(".gs-patterns defs").append(clip);
        layers.forEach((layer) => layer.addTo(map).getElement().setAttribute("clip-path", `url(#${id})`));
        shown.set(surface, { layers, clip, outline, stamp });
      }
      const now = surface.polygon.getElement();
      if (now) shown.get(surface).outline.setAttribute("d", now.getAttribute("d"));
    });
  };
};
