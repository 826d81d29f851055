/* What was handed over, decoded: surfaces, rings around them, catches, and their figures. */
geosand.site = function (data) {
  const { given, number, NONE } = geosand;
  const [X, Y] = data.origin;
  const page = { data, units: data.start, theme: "depth", period: 0, chosen: -1 };

  /* Whole numbers of five bits a character, each what it differs by from the one before; a blank
     is no number. Of several columns in one text the numbers take turns. */
  function decode(text, columns = 1) {
    const found = [],
      last = new Array(columns).fill(0);
    let at = 0;
    while (at < text.length) {
      if (text[at] === " ") {
        at += 1;
        found.push(null);
        continue;
      }
      let value = 0,
        shift = 1,
        part;
      do {
        part = text.charCodeAt(at++) - 63;
        value += (part & 31) * shift;
        shift *= 32;
      } while (part >= 32);
      const turn = found.length % columns;
      found.push((last[turn] += value % 2 ? -(value + 1) / 2 : value / 2));
    }
    return found;
  }
  /* Figures are whole numbers of a small step of their quantity. */
  const scaled = (whole, quantity) =>
    given(whole) ? (quantity ? whole * data.steps[quantity] : whole) : null;
  const figuresOf = (page.figuresOf = (text, quantity) =>
    decode(text).map((whole) => scaled(whole, quantity)));
  function ringOf(text) {
    const flat = decode(text, 2),
      ring = [];
    for (let i = 0; i < flat.length; i += 2) ring.push([(Y + flat[i + 1]) / 1e7, (X + flat[i]) / 1e7]);
    return ring;
  }
  const pool = [];
  const ringAt = (index) => pool[index] || (pool[index] = ringOf(data.pool[index]));
  page.outline = (shape) => shape.map((polygon) => polygon.map(ringAt));
  const place = (page.place = (point) => L.latLng((Y + point[1]) / 1e7, (X + point[0]) / 1e7));

  const periods = data.periods.map((period) => {
    const rows = [];
    decode(period.dressed).forEach((index, row) => (rows[index] = row));
    return { rows, known: [], columns: null, rings: null };
  });
  function columnsOf(list, quantities = {}) {
    const columns = {};
    for (const name in list) columns[name] = quantities[name] ? figuresOf(list[name], quantities[name]) : list[name];
    return columns;
  }
  const drawn = columnsOf(data.surfaces, { area: "area", u_area: "area", target: "depth" });
  ["kind", "x", "y", "radius_dm"].forEach((name) => (drawn[name] = decode(drawn[name])));
  const kinds = Object.keys(data.kinds);
  page.surfaces = drawn.id.map((id, index) => {
    const rings = page.outline(drawn.shape[index]);
    const bounds = rings.length ? L.latLngBounds(rings.map((polygon) => polygon[0]).flat()) : null;
    return {
      id,
      name: drawn.name[index],
      kind: kinds[drawn.kind[index]],
      area: drawn.area[index] ?? null,
      uArea: drawn.u_area[index] ?? null,
      target: drawn.target[index] ?? null,
      radius: drawn.radius_dm[index] / 10,
      index,
      rings,
      bounds,
      point: place([drawn.x[index], drawn.y[index]]),
      around: [],
      catches: [],
      faded: false,
      active: periods.some(({ rows }) => given(rows[index])),
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
  const laid = columnsOf(data.catches, { depth: "depth", rate: "rate", residual: "share" });
  ["period", "x", "y", "surface"].forEach((name) => (laid[name] = decode(laid[name])));
  page.catches = laid.id.map((id, k) => ({
    id,
    period: laid.period[k],
    at: place([laid.x[k], laid.y[k]]),
    surface: laid.surface[k],
    depth: laid.depth[k] ?? null,
    rate: laid.rate[k] ?? null,
    residual: laid.residual[k] ?? null,
    used: 1,
    note: "",
  }));
  laid.remarks.forEach(([k, used, note]) => Object.assign(page.catches[k], { used, note }));
  page.catches.forEach((caught) => {
    if (page.surfaces[caught.surface]) page.surfaces[caught.surface].catches.push(caught);
  });

  /* ---- figures ---- */
  const blank = { dressed: "", surfaces: [], rings: ["", "", ""], key: "", label: "", headline: ["", ""] };
  page.periodAt = (at) => data.periods[given(at) ? at : page.period] || blank;
  page.season = (at) => page.periodAt(at).key === "season";
  const figures = Object.entries(data.figures);
  /* All figures of a period, by surface: read when first asked for. */
  function read(at) {
    const columns = page.periodAt(at).surfaces.map((text, i) => figuresOf(text, figures[i][1]));
    periods[at].known = periods[at].rows.map((row) => {
      const now = { dressed: true };
      figures.forEach(([name], i) => (now[name] = columns[i][row] ?? null));
      now.state = now.state === null ? null : data.states[now.state];
      now.basis = data.bases[now.basis || 0];
      return now;
    });
    return periods[at].known;
  }
  const nothing = Object.fromEntries([...figures.map(([name]) => [name, null]), ["dressed", false]]);
  page.now = (surface, at = page.period) => {
    const period = periods[at];
    if (!period || !given(period.rows[surface.index])) return nothing;
    return (period.known.length ? period.known : read(at))[surface.index];
  };
  page.ringNow = (band, at = page.period) => {
    const period = periods[at];
    if (!period || !band) return { depth: null, mass: null };
    if (!period.rings) {
      const [index, depth, mass] = data.periods[at].rings;
      period.rings = { row: new Map(decode(index).map((ring, row) => [ring, row])) };
      period.rings.depth = figuresOf(depth, "depth");
      period.rings.mass = figuresOf(mass, "mass");
    }
    const row = period.rings.row.get(band.index),
      of = (column) => column[row] ?? null;
    return { depth: of(period.rings.depth), mass: of(period.rings.mass) };
  };
  /* The balance of the period that is shown; null where there is none. */
  page.balance = function () {
    const { balance, verdict = "", doubt = false } = page.periodAt();
    if (!given(balance)) return null;
    const whole = decode(balance),
      found = { verdict, doubt };
    Object.entries(data.account).forEach(([name, quantity], i) => {
      found[name] = scaled(whole[i], quantity);
    });
    return found;
  };
  page.bandOf = (surface, zone) => surface.around.find((band) => band.zone === zone);
  page.inPeriod = (caught) => page.season() || caught.period === page.period;
  page.caught = (surface) => surface.catches.filter((caught) => caught.used && page.inPeriod(caught));
  page.estimated = (figures) => figures.basis === "other surfaces";
  /* At least that much, where a dressing of the surface was not measured. */
  page.soFar = (figures, text) =>
    figures.state !== "not measured" || text === NONE ? text : "≥\u202f" + text;
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
