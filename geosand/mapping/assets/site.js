/* What was handed over, decoded: surfaces, rings around them, catches, and their figures. */
geosand.site = function (data) {
  const { given, number, NONE } = geosand;
  const [X, Y] = data.origin;
  const page = { data, units: data.start, theme: "depth", period: 0, chosen: -1 };

  /* A ring of the pool: differences of 1e-7 degree, five bits a character. */
  function decode(text) {
    const ring = [];
    let at = 0,
      x = X,
      y = Y;
    const next = () => {
      let value = 0,
        shift = 1,
        part;
      do {
        part = text.charCodeAt(at++) - 63;
        value += (part & 31) * shift;
        shift *= 32;
      } while (part >= 32);
      return value % 2 ? -(value + 1) / 2 : value / 2;
    };
    while (at < text.length) {
      x += next();
      y += next();
      ring.push([y / 1e7, x / 1e7]);
    }
    return ring;
  }
  const pool = [];
  const ringAt = (index) => pool[index] || (pool[index] = decode(data.pool[index]));
  page.outline = (shape) => shape.map((polygon) => polygon.map(ringAt));
  const place = (point) => point && L.latLng((Y + point[1]) / 1e7, (X + point[0]) / 1e7);

  page.surfaces = data.surfaces.map(([id, name, kind, shape, area, uArea, target, pole, radius], index) => {
    const rings = page.outline(shape);
    const bounds = rings.length ? L.latLngBounds(rings.map((polygon) => polygon[0]).flat()) : null;
    return {
      id,
      name,
      kind,
      area,
      uArea,
      target,
      radius,
      index,
      rings,
      bounds,
      point: place(pole),
      around: [],
      catches: [],
      faded: false,
      active: data.periods.some((period) => period.surfaces[index]),
    };
  });
  page.bands = data.rings.map(([surface, zone, shape], index) => {
    const band = { surface, zone, shape, index };
    if (page.surfaces[surface]) page.surfaces[surface].around.push(band);
    return band;
  });
  page.surfaces.forEach((surface) => {
    if (!surface.bounds) return;
    surface.reach = L.latLngBounds(surface.bounds.getSouthWest(), surface.bounds.getNorthEast());
    surface.around.forEach((band) =>
      band.shape.forEach((polygon) => ringAt(polygon[0]).forEach((corner) => surface.reach.extend(corner))),
    );
  });
  data.passes.forEach(([index, heading, lines]) => {
    if (page.surfaces[index])
      page.surfaces[index].passes = { heading, lines: lines.map((line) => line.map(place)) };
  });
  /* Figures are whole numbers of a small step of their quantity. */
  const scaled = (whole, quantity) =>
    given(whole) ? (quantity ? whole * data.steps[quantity] : whole) : null;
  page.catches = data.catches.map(([id, period, x, y, surface, depth, rate, residual, used = 1, note = ""]) => ({
    id,
    period,
    at: place([x, y]),
    surface,
    depth: scaled(depth, "depth"),
    rate: scaled(rate, "rate"),
    residual: scaled(residual, "share"),
    used,
    note,
  }));
  page.catches.forEach((caught) => {
    if (page.surfaces[caught.surface]) page.surfaces[caught.surface].catches.push(caught);
  });

  /* ---- figures ---- */
  const blank = { surfaces: [], rings: [], breaks: {}, key: "", label: "" };
  page.periodAt = (at) => data.periods[given(at) ? at : page.period] || blank;
  page.season = (at) => page.periodAt(at).key === "season";
  const columns = Object.entries(data.figures);
  const known = data.periods.map(() => []);
  function read(surface, at) {
    const row = page.periodAt(at).surfaces[surface.index],
      figures = {};
    columns.forEach(([name, quantity], i) => {
      figures[name] = row ? scaled(row[i], quantity) : null;
    });
    figures.state = figures.state === null ? null : data.states[figures.state];
    figures.basis = data.bases[figures.basis || 0];
    figures.dressed = Boolean(row);
    return figures;
  }
  page.now = (surface, at) => {
    const kept = known[given(at) ? at : page.period] || [];
    return kept[surface.index] || (kept[surface.index] = read(surface, given(at) ? at : page.period));
  };
  page.ringNow = (band, at) => {
    const row = band && page.periodAt(at).rings[band.index];
    return row
      ? { depth: scaled(row[0], "depth"), mass: scaled(row[1], "mass") }
      : { depth: null, mass: null };
  };
  page.bandOf = (surface, zone) => surface.around.find((band) => band.zone === zone);
  page.inPeriod = (caught) => page.season() || caught.period === page.period;
  page.caught = (surface) => surface.catches.filter((caught) => caught.used && page.inPeriod(caught));
  page.estimated = (figures) => figures.basis === "other surfaces";
  page.under = (figures) => figures.state === "under-dressed";
  /* Lowest and highest residual of a surface's catches; nulls where it has none. */
  page.residuals = (surface) => {
    const values = page
      .caught(surface)
      .map((caught) => caught.residual)
      .filter(given);
    return values.length ? [Math.min(...values), Math.max(...values)] : [null, null];
  };
  page.share = (surface) => {
    const part = page.now(surface).thrown_kg,
      whole = page.periodAt().thrown;
    return part === null || !whole ? null : part / whole;
  };

  /* ---- figures in the units that are chosen ---- */
  page.unitOf = (quantity) => data.units[page.units][quantity][1];
  page.show = (value, quantity, withUnit) => {
    const [factor, unit, decimals] = data.units[page.units][quantity];
    const text = number(given(value) ? value * factor : null, decimals);
    return withUnit && text !== NONE ? text + "\u00a0" + unit : text;
  };
  page.between = (low, high, quantity) => {
    if (!given(low) || !given(high)) return NONE;
    return page.show(low, quantity) + (low < 0 ? " to " : "–") + page.show(high, quantity);
  };
  return page;
};
