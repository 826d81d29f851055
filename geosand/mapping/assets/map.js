/* The sand map. Every text from the data is set as text, never as markup. */
var geosand = (function () {
  "use strict";
  document.documentElement.classList.remove("still");
  const NEAR = 17;              // from this zoom on surfaces are drawn as they are
  const NONE = "–", INK = "#2b2822", CHOSEN = "#174a7c", NEUTRAL = "#fbfaf5";
  const GROUND = { bunker: "#f1e6c3", water: "#bfd5e2", path: "#d9d2c4" };
  const byId = (id) => document.getElementById(id);
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;

  function make(tag, css, ...inside) {
    const node = document.createElement(tag);
    if (css) node.className = css;
    node.append(...inside.filter((part) => part !== null && part !== undefined && part !== ""));
    return node;
  }
  function draw(tag, attributes, ...inside) {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    node.append(...inside);
    return node;
  }

  /* ---- figures ---- */
  function number(value, decimals) {
    if (value === null || value === undefined || !isFinite(value)) return NONE;
    let text = Math.abs(value).toFixed(decimals);
    const minus = value < 0 && Number(text) !== 0;
    text = text.replace(/^\d+/, (whole) => whole.replace(/\B(?=(\d{3})+$)/g, ","));
    return (minus ? "−" : "") + text;
  }
  const given = (value) => value !== null && value !== undefined;
  function percent(share) {
    return given(share) ? number(100 * share, Math.abs(share) < 0.0995 ? 1 : 0) + "\u00a0%" : NONE;
  }
  /* A probability never reads as certainty. */
  const likely = (share) => (share >= 0.995 ? "> 99\u00a0%" : percent(share));

  /* ---- rings of the pool: differences of 1e-7 degree, five bits a character ---- */
  function decode(text, origin) {
    const ring = [];
    let at = 0, x = origin[0], y = origin[1];
    const next = () => {
      let value = 0, shift = 1, part;
      do { part = text.charCodeAt(at++) - 63; value += (part & 31) * shift; shift *= 32; } while (part >= 32);
      return value % 2 ? -(value + 1) / 2 : value / 2;
    };
    while (at < text.length) { x += next(); y += next(); ring.push([y / 1e7, x / 1e7]); }
    return ring;
  }

  function start(map, control, themes, groups) {
    const data = JSON.parse(byId("gs-data").textContent);
    const [X, Y] = data.origin;
    let units = data.start, theme = "depth", period = 0, chosen = -1, opener = null;
    const pool = [];
    const ringAt = (index) => pool[index] || (pool[index] = decode(data.pool[index], data.origin));
    const outline = (shape) => shape.map((polygon) => polygon.map(ringAt));
    const place = (point) => point && L.latLng((Y + point[1]) / 1e7, (X + point[0]) / 1e7);

    const surfaces = data.surfaces.map((row, index) => {
      const [id, name, kind, shape, area, uArea, target, point] = row;
      const rings = outline(shape);
      return { id, name, kind, area, uArea, target, index, rings, point: place(point), hidden: false,
        bounds: rings.length ? L.latLngBounds(rings.map((polygon) => polygon[0]).flat()) : null,
        active: data.periods.some((p) => p.surfaces[index]), around: [] };
    });
    const bands = data.rings.map((row, index) => {
      const band = { surface: row[0], zone: row[1], shape: row[2], index };
      if (surfaces[row[0]]) surfaces[row[0]].around.push(band);
      return band;
    });
    surfaces.forEach((s) => {
      s.reach = s.bounds && L.latLngBounds(s.bounds.getSouthWest(), s.bounds.getNorthEast());
      s.around.forEach((band) => band.shape.forEach((polygon) => ringAt(polygon[0]).forEach((corner) => s.reach && s.reach.extend(corner))));
    });
    data.passes.forEach(([index, heading, lines]) => {
      if (surfaces[index]) surfaces[index].passes = { heading, lines: lines.map((line) => line.map(place)) };
    });
    const known = data.periods.map(() => []);
    const now = (surface, p) => {
      const at = given(p) ? p : period, kept = known[at] || [];
      return kept[surface.index] || (kept[surface.index] = read(surface, at));
    };
    const read = (surface, at) => {
      const row = (data.periods[at] || { surfaces: [] }).surfaces[surface.index];
      const figures = {};
      data.figures.forEach((name, i) => { figures[name] = row && given(row[i]) ? row[i] : null; });
      figures.state = figures.state === null ? null : data.states[figures.state];
      figures.basis = data.bases[figures.basis || 0];
      return figures;
    };
    const ringNow = (band, p) => {
      const row = (data.periods[given(p) ? p : period] || { rings: [] }).rings[band.index];
      return row ? { depth: row[0], mass: row[1] } : { depth: null, mass: null };
    };
    const bandOf = (surface, zone) => surface.around.find((band) => band.zone === zone);

    const unitOf = (quantity) => data.units[units][quantity][1];
    function show(value, quantity, withUnit) {
      const [factor, unit, decimals] = data.units[units][quantity];
      const text = number(given(value) ? value * factor : null, decimals);
      return withUnit && text !== NONE ? text + "\u00a0" + unit : text;
    }
    function between(low, high, quantity) {
      if (!given(low) || !given(high)) return NONE;
      return show(low, quantity) + (low < 0 ? " to " : "–") + show(high, quantity);
    }

    /* ---- classes and colours ---- */
    const breaks = (name) => ((data.periods[period] || {}).breaks || {})[name || theme] || {};
    function classOf(value, name) {
      const limits = breaks(name)[units] || [];
      if (!given(value) || !limits.length) return -1;
      const shown = value * data.units[units].depth[0];
      return limits.filter((limit) => shown >= limit).length;
    }
    const estimated = (figures) => figures.basis === "other surfaces";
    const under = (figures) => figures.state === "under-dressed";
    function valueOf(figures) { return theme === "depth" ? figures.depth_m : figures.shortfall_m; }
    function fill(surface) {
      if (theme === "areas") return data.kinds[surface.kind] || NEUTRAL;
      if (theme === "overthrow" && surface.active && (given(now(surface).depth_m) || (data.periods[period] || {}).key === "season")) return NEUTRAL;
      if (theme === "overthrow") return GROUND[surface.kind] || "#dfe7cf";
      const figures = now(surface), level = theme === "overthrow" ? -1 : classOf(valueOf(figures));
      if (level < 0) return surface.active ? "url(#gs-none)" : GROUND[surface.kind] || "#dfe7cf";
      return estimated(figures) ? `url(#gs-hatch-${theme}-${level})` : data.scales[theme][level];
    }
    function style(surface, far) {
      const figures = now(surface), marked = under(figures) && theme !== "areas";
      const base = { fillColor: fill(surface), fillOpacity: 1, color: INK, weight: far ? 1 : 1.2,
        opacity: 0.85, dashArray: null };
      if (!surface.active && theme !== "areas") Object.assign(base, { weight: 0.6, opacity: 0.4 });
      if (marked) Object.assign(base, { color: "#000", weight: far ? 2 : 2.6, opacity: 1, dashArray: far ? "3 2.5" : "7 5" });
      if (surface.hidden) Object.assign(base, { fillOpacity: 0.15, opacity: 0.2 });
      if (surface.index === chosen) Object.assign(base, { color: CHOSEN, weight: far ? 3 : theme === "overthrow" ? 2 : 4, opacity: 1, dashArray: marked ? base.dashArray : null });
      return base;
    }
    function bandStyle(band) {
      const thrown = ringNow(band).depth, level = theme === "overthrow" ? classOf(thrown) : -1;
      const doubt = (data.periods[period] || {}).doubt;
      if (level < 0) return { fillColor: band.zone === "collar" ? "#cfd8ba" : "#dbe3c9", fillOpacity: theme === "areas" ? 0.6 : 1, color: "#8b9377", weight: 0.5, opacity: 0.7, dashArray: null };
      return { fillColor: data.scales.overthrow[level], fillOpacity: 1, color: "#4a3a66", weight: doubt ? 1.4 : 0.7, opacity: 0.9, dashArray: doubt ? "2 3" : null };
    }

    /* ---- layers ---- */
    const pane = (name, order, mouse) => { const p = map.createPane(name); p.style.zIndex = order; if (!mouse) p.style.pointerEvents = "none"; return p; };
    pane("gs-ground", 250); pane("gs-labels", 620); pane("gs-passes", 450);
    const groundRenderer = L.svg({ pane: "gs-ground", padding: 0.5 });
    const main = L.svg({ padding: 0.5 });
    const live = L.featureGroup().addTo(map), dots = L.featureGroup();
    const quiet = (latlngs, options) => L.polygon(latlngs, Object.assign({ renderer: groundRenderer, pane: "gs-ground", interactive: false, stroke: false, fillOpacity: 1, smoothFactor: 0.5 }, options)).addTo(map);
    quiet(outline(data.ground), { fillColor: "#e9eddc", stroke: true, color: "#cdd3b8", weight: 1 });
    grid();
    const kindsDrawn = {};
    surfaces.forEach((s) => (kindsDrawn[s.kind] = kindsDrawn[s.kind] || []).push(...s.rings));
    ["fairway", ...Object.keys(kindsDrawn).filter((k) => k !== "fairway")].forEach((kind) => {
      if (kindsDrawn[kind]) quiet(kindsDrawn[kind], { fillColor: GROUND[kind] || (kind === "fairway" ? "#dde6c8" : "#d0dcb8") });
    });
    const everywhere = L.latLngBounds(surfaces.filter((s) => s.bounds).map((s) => s.bounds));
    const order = surfaces.filter((s) => s.bounds).sort((a, b) => a.active - b.active || (b.area || 0) - (a.area || 0));

    function circleOf(surface) {
      if (!surface.circle) {
        surface.circle = L.circleMarker(surface.point, { renderer: main });
        surface.circle.surface = surface;
      }
      const zoom = map.getZoom(), size = surface.kind === "green" || surface.kind === "pitch" ? 8 : 5.5;
      surface.circle.setRadius(size * (zoom < 13.5 ? 0.45 : zoom < 14.75 ? 0.7 : 1));
      return surface.circle;
    }
    function polygonOf(surface) {
      if (!surface.polygon) {
        surface.polygon = L.polygon(surface.rings, { renderer: main, smoothFactor: 0.3 });
        surface.polygon.surface = surface;
      }
      return surface.polygon;
    }
    function bandLayer(band) {
      if (!band.layer) {
        band.layer = L.polygon(outline(band.shape), { renderer: main, smoothFactor: 0.3 });
        band.layer.band = band;
      }
      return band.layer;
    }
    function catchLayer(c) {
      if (!c.layer) {
        c.layer = c.used
          ? L.circleMarker(c.at, { renderer: main, radius: 5 })
          : L.marker(c.at, { keyboard: false, icon: L.divIcon({ className: "gs-aside", html: "×", iconSize: [18, 18] }) });
        c.layer.catch = c;
      }
      return c.layer;
    }
    const catches = data.catches.map((row) => ({ id: row[0], period: row[1], at: place([row[2], row[3]]),
      surface: row[4], depth: row[5], rate: row[6], used: row[7], note: row[8] }));
    const inPeriod = (c) => (data.periods[period] || {}).key === "season" || c.period === period;

    /* Everything in view is made when it is first needed, so that large sites stay quick. */
    function refresh() {
      const near = map.getZoom() >= NEAR, view = map.getBounds().pad(0.3);
      document.body.classList.toggle("near", near);
      const wanted = [];
      dots.clearLayers();
      if (near) {
        const seen = order.filter((s) => view.intersects(s.bounds));
        // Undressed turf lies beneath what was thrown over; bunkers, water and paths stay on top.
        const beneath = (s) => !s.active && theme !== "areas" && !["bunker", "water", "path"].includes(s.kind);
        seen.filter(beneath).forEach((s) => wanted.push(polygonOf(s).setStyle(style(s))));
        const thrown = (band) => theme === "overthrow" && classOf(ringNow(band).depth) >= 0;
        for (const full of [false, true]) for (const zone of ["surrounds", "collar"]) seen.forEach((s) => s.around.filter((band) => band.zone === zone && thrown(band) === full).forEach((band) => wanted.push(bandLayer(band).setStyle(bandStyle(band)))));
        seen.filter((s) => !beneath(s)).forEach((s) => wanted.push(polygonOf(s).setStyle(style(s))));
        catches.filter((c) => inPeriod(c) && view.contains(c.at)).forEach((c) => dots.addLayer(catchLayer(c)));
      } else {
        order.filter((s) => (s.active || theme === "areas") && view.contains(s.point)).forEach((s) => {
          const halo = theme === "overthrow" && haloOf(s);
          if (halo) wanted.push(halo);
          wanted.push(circleOf(s).setStyle(style(s, true)));
        });
      }
      // What is drawn already stays, unless something new would have to lie beneath it.
      const drawn = live.getLayers(), keep = wanted.length === drawn.length && wanted.every((layer, i) => layer === drawn[i]);
      if (!keep) { live.clearLayers(); wanted.forEach((layer) => live.addLayer(layer)); }
      if (near) { dots.eachLayer((dot) => dot.bringToFront && map.hasLayer(dot) && dot.bringToFront()); paintCatches(); }
      if (chosen >= 0) raise(surfaces[chosen]);
      drive(near, view);
      label();
    }
    /* Passes of the next dressing: drawn near by, for what is in view, and only when asked for. */
    const driven = L.layerGroup().addTo(map);
    let passRenderer = null;
    function drive(near, view) {
      driven.clearLayers();
      if (!near || !groups.passes || !map.hasLayer(groups.passes)) return;
      passRenderer = passRenderer || L.svg({ pane: "gs-passes", padding: 0.5 });
      const under = { renderer: passRenderer, pane: "gs-passes", interactive: false, smoothFactor: 0, color: "#fffdf8", weight: 3.4, opacity: 0.75 };
      order.filter((s) => s.passes && !s.hidden && view.intersects(s.bounds)).forEach((s) => {
        driven.addLayer(L.polyline(s.passes.lines, under));
        driven.addLayer(L.polyline(s.passes.lines, Object.assign({}, under, { color: CHOSEN, weight: 1.4, opacity: 1, className: "gs-pass" })));
        driven.addLayer(L.circleMarker(s.passes.lines[0][0], Object.assign({}, under, { radius: 3.5, weight: 1.2, opacity: 1, fillColor: CHOSEN, fillOpacity: 1 })));
      });
    }
    function haloOf(surface) {
      const band = surface.around.find((b) => classOf(ringNow(b).depth) >= 0 && b.zone === "collar") || surface.around.find((b) => classOf(ringNow(b).depth) >= 0);
      if (!band) return null;
      const halo = L.circleMarker(surface.point, Object.assign({ renderer: main, radius: circleOf(surface).getRadius() + 5 }, bandStyle(band)));
      halo.band = band;
      return halo;
    }
    function raise(surface) {
      const layer = map.getZoom() >= NEAR ? surface.polygon : surface.circle;
      if (layer && live.hasLayer(layer)) { layer.bringToFront(); if (map.hasLayer(dots)) dots.eachLayer((d) => d.bringToFront && d.bringToFront()); }
    }
    function paintCatches() {
      dots.eachLayer((layer) => {
        const c = layer.catch;
        if (!c.used || !layer.setStyle) return;
        const level = theme === "depth" && (data.periods[period] || {}).key !== "season" ? classOf(c.depth, "depth") : -1;
        layer.setStyle({ radius: 5, weight: 1.6, color: level < 0 ? "#fff" : INK, opacity: 1, fillOpacity: 1, fillColor: level < 0 ? INK : data.scales.depth[level] });
        layer.getElement && layer.getElement() && layer.getElement().classList.add("gs-catch");
      });
    }
    function patterns() {
      const defs = draw("defs", {});
      const tile = (id, colour, line) => draw("pattern", { id, width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
        draw("rect", { width: 6, height: 6, fill: colour }), draw("path", { d: "M1 0V6", stroke: line, "stroke-width": 2.4 }));
      for (const name of ["depth", "shortfall"]) data.scales[name].forEach((colour, i) => defs.append(tile(`gs-hatch-${name}-${i}`, colour, name === "depth" && i > 2 || name === "shortfall" && i === 0 ? "rgba(255,255,255,.75)" : "rgba(43,40,34,.55)")));
      defs.append(draw("pattern", { id: "gs-none", width: 6, height: 6, patternUnits: "userSpaceOnUse" },
        draw("rect", { width: 6, height: 6, fill: "#fff" }), draw("circle", { cx: 3, cy: 3, r: 1.1, fill: "#a69f8f" })));
      // A sheet of their own: the map's drawing is emptied and filled again as it moves.
      const sheet = draw("svg", { width: 0, height: 0, "aria-hidden": "true", class: "gs-patterns" }, defs);
      document.body.append(sheet);
    }

    /* ---- labels: placed one by one, and left out where they would collide ---- */
    const sizes = new Map();
    const labelPane = map.getPane("gs-labels");
    function label() {
      labelPane.textContent = "";
      if (!map.hasLayer(groups.names)) return;
      const near = map.getZoom() >= NEAR, taken = [], named = [], placed = document.createDocumentFragment(), size = map.getSize();
      const origin = map.containerPointToLayerPoint([0, 0]), corner = map.getContainer().getBoundingClientRect();
      map.getContainer().querySelectorAll(".leaflet-control").forEach((control) => {
        const box = control.getBoundingClientRect();
        const edge = [box.left - corner.left, box.top - corner.top, box.right - corner.left, box.bottom - corner.top];
        if (box.width) { taken.push(edge); named.push(edge); }
      });
      const free = (box, others) => box[0] >= 2 && box[1] >= 2 && box[2] <= size.x - 2 && box[3] <= size.y - 2 &&
        others.every((b) => box[2] < b[0] || box[0] > b[2] || box[3] < b[1] || box[1] > b[3]);
      const shown = order.filter((s) => (s.active || theme === "areas") && map.getBounds().pad(0.2).intersects(s.bounds));
      shown.forEach((s) => {
        const p = map.latLngToContainerPoint(s.point), r = near ? 0 : circleOf(s).getRadius();
        if (near) {
          const a = map.latLngToContainerPoint(s.reach.getNorthWest()), b = map.latLngToContainerPoint(s.reach.getSouthEast());
          s.half = [(b.x - a.x) / 2, (b.y - a.y) / 2]; s.middle = [(a.x + b.x) / 2, (a.y + b.y) / 2];
          if (s.half[1] < 60) taken.push([a.x + s.half[0] * 0.3, a.y + s.half[1] * 0.3, b.x - s.half[0] * 0.3, b.y - s.half[1] * 0.3]);
        } else { s.half = [r, r]; s.middle = [p.x, p.y]; taken.push([p.x - r, p.y - r, p.x + r, p.y + r]); }
      });
      const rank = (s) => (s.index === chosen ? -4 : 0) + (under(now(s)) ? -2 : 0) + (s.kind === "green" ? -1 : 0) - Math.min((s.area || 0) / 1e6, 0.5);
      shown.sort((a, b) => rank(a) - rank(b)).forEach((s) => {
        const short = under(now(s)) && theme !== "areas";
        const node = make("span", s.kind === "green" ? "strong" : "", short ? make("i", "", "▼ ") : "", s.name);
        if (theme === "areas" && given(s.area) && near) node.append(make("small", "", show(s.area, "area", true)));
        const text = node.className + node.textContent;
        if (!sizes.has(text)) { labelPane.append(node); sizes.set(text, [node.offsetWidth, node.offsetHeight]); node.remove(); }
        const p = map.latLngToContainerPoint(s.point), [w, h] = sizes.get(text), [mx, my] = s.middle, [hx, hy] = s.half, gap = 3;
        const spots = [[mx - w / 2, my + hy + gap], [mx - w / 2, my - hy - h - gap], [mx + hx + gap, my - h / 2], [mx - hx - w - gap, my - h / 2]];
        if (near && hx * 2 > w + 24 && hy >= 60) spots.push([mx - w / 2, my - h / 2], [p.x - w / 2, p.y - h / 2]);
        const aside = hx * 0.72 + gap, over = hy * 0.72 + gap;
        spots.push([mx + aside, my + over], [mx - aside - w, my + over], [mx + aside, my - over - h], [mx - aside - w, my - over - h]);
        // A surface that was chosen or is short of sand is named even where its name covers a neighbour.
        const loose = short || s.index === chosen ? named : null;
        const spot = spots.find(([x, y]) => free([x, y, x + w, y + h], taken)) || (loose && spots.find(([x, y]) => free([x, y, x + w, y + h], loose)));
        if (!spot) return;
        const box = [spot[0] - 1, spot[1], spot[0] + w + 1, spot[1] + h];
        taken.push(box); named.push(box);
        L.DomUtil.setPosition(node, L.point(spot).add(origin).round());
        placed.append(node);
      });
      labelPane.append(placed);
    }

    /* ---- grid, scale, north, whole site ---- */
    function grid() {
      if (!surfaces.some((s) => s.bounds)) return;
      const all = L.latLngBounds(surfaces.filter((s) => s.bounds).map((s) => s.bounds)).pad(1.2);
      const north = 1 / 111195, east = north / Math.max(Math.cos(all.getCenter().lat * Math.PI / 180), 1e-3);
      const tall = (all.getNorth() - all.getSouth()) / north, wide = (all.getEast() - all.getWest()) / east;
      let step = 100, turn = 0;
      while (Math.max(tall, wide) / step > 60) step *= turn++ % 2 ? 2 : 5;
      const lines = [];
      for (let m = 0; m <= wide; m += step) lines.push([[all.getSouth(), all.getWest() + m * east], [all.getNorth(), all.getWest() + m * east]]);
      for (let m = 0; m <= tall; m += step) lines.push([[all.getSouth() + m * north, all.getWest()], [all.getSouth() + m * north, all.getEast()]]);
      L.polyline(lines, { renderer: groundRenderer, pane: "gs-ground", interactive: false, color: "#b9b49f", weight: 0.5, opacity: 0.6 }).addTo(map);
      control.gridStep = step;
    }
    let scale = null;
    function scaleBar() {
      if (scale) scale.remove();
      scale = L.control.scale({ metric: units === "metric", imperial: units === "us", maxWidth: 130 }).addTo(map);
    }
    const north = L.control({ position: "topright" });
    north.onAdd = () => make("div", "gs-north", draw("svg", { viewBox: "0 0 24 40", width: 24, height: 40, role: "img", "aria-label": "North is up" },
      draw("path", { d: "M12 1 19 26 12 21.5 5 26Z", fill: "none", stroke: INK, "stroke-width": 1.2 }), draw("path", { d: "M12 1 12 21.5 5 26Z", fill: INK }),
      Object.assign(draw("text", { x: 12, y: 38.5, "text-anchor": "middle", "font-size": 11 }), { textContent: "N" })));
    north.addTo(map);
    const whole = L.control({ position: "topleft" });
    whole.onAdd = () => {
      const button = make("button", "gs-whole", draw("svg", { viewBox: "0 0 18 18", width: 18, height: 18, "aria-hidden": "true" },
        draw("path", { d: "M2 6.5V2h4.5M11.5 2H16v4.5M16 11.5V16h-4.5M6.5 16H2v-4.5", fill: "none", stroke: INK, "stroke-width": 1.8 }), draw("circle", { cx: 9, cy: 9, r: 2.2, fill: INK })));
      button.type = "button"; button.title = "Whole site"; button.setAttribute("aria-label", "Whole site");
      button.addEventListener("click", () => { map.closePopup(); home(); });
      L.DomEvent.disableClickPropagation(button);
      return button;
    };
    whole.addTo(map);
    function home() {
      if (everywhere.isValid()) map.fitBounds(everywhere, { paddingTopLeft: [54, 30], paddingBottomRight: [46, 34], animate: false });
      else map.setView([0, 0], 2);
      atHome = true;
    }
    let atHome = false;
    map.on("movestart zoomstart", () => { atHome = false; });

    /* ---- popup ---- */
    const popup = L.popup({ maxWidth: 600, autoPanPadding: [12, 12], className: "gs-popup" });
    function rows(list) {
      const body = make("tbody");
      list.filter((line) => line).forEach(([name, value, note]) => body.append(make("tr", "", make("th", "", name), make("td", "", value), make("td", "more", note || ""))));
      return make("table", "", body);
    }
    function describe(surface) {
      const f = now(surface), p = data.periods[period] || { label: "" };
      const box = make("div", "card");
      const title = make("h3", "", surface.name);
      title.dir = "auto";
      box.append(title, make("p", "what", surface.kind, " · ", p.label));
      if (surface.active) {
        const lead = make("p", "lead"), limits = between(f.mass_low_kg, f.mass_high_kg, "mass");
        if (f.mass_kg !== null) lead.append(make("b", "", show(f.mass_kg, "mass")), " " + unitOf("mass") + " of sand", limits === NONE ? "" : make("span", "", "95 %\u00a0" + limits));
        else lead.append(p.surfaces && p.surfaces[surface.index] ? "Not measured" : "Not dressed in this period");
        box.append(lead);
      }
      const collar = bandOf(surface, "collar"), wide = bandOf(surface, "surrounds");
      const thrown = (band) => { const r = band ? ringNow(band) : { depth: null }; return r.depth === null ? null : [show(r.depth, "depth", true), r.mass === null ? "" : show(r.mass, "mass", true)]; };
      const a = thrown(collar), b = thrown(wide), range = between(f.low_m, f.high_m, "depth");
      box.append(rows([
        f.depth_m === null ? null : ["Depth", show(f.depth_m, "depth", true), range === NONE ? "" : "95 %\u00a0" + range],
        f.target_so_far_m === null ? null : [(data.periods[period] || {}).key === "season" ? "Target so far" : "Planned", show(f.target_so_far_m, "depth", true), given(surface.target) ? "season " + show(surface.target, "depth") : ""],
        f.shortfall_m === null ? null : ["Shortfall", show(f.shortfall_m, "depth", true), f.shortfall_m < 0 ? "ahead of target" : ""],
        f.state === null ? null : ["State", (under(f) ? "▼ " : "") + f.state, f.probability === null ? "" : likely(f.probability) + " likely"],
        f.basis === null ? null : ["Stands on", estimated(f) ? "other surfaces" : f.catches + (f.catches === 1 ? " catch" : " catches"), estimated(f) ? "estimated" : "its own"],
        a ? ["Collar", a[0], a[1]] : null, b ? ["Surrounds", b[0], b[1]] : null,
        surface.passes ? ["Drive at", number(surface.passes.heading, 0) + "°", `${surface.passes.lines.length} ${surface.passes.lines.length === 1 ? "pass" : "passes"}, next dressing`] : null,
        ["Area", show(surface.area, "area", true), given(surface.uArea) ? "± " + show(surface.uArea, "area") : ""]]));
      if (p.key === "season" && map.getSize().x >= 640) {
        const chart = history(surface, f);
        if (chart) { box.append(chart); box.classList.add("wide"); }
      }
      return box;
    }
    /* Depth dressing by dressing, adding up towards the line of the target so far. */
    function history(surface, f) {
      const steps = data.periods.map((p, i) => ({ key: p.key, depth: p.key === "season" ? null : now(surface, i).depth_m, dressed: !!p.surfaces[surface.index] })).filter((s) => s.key !== "season");
      if (!steps.some((s) => s.depth !== null)) return null;
      let sum = 0;
      const top = Math.max(steps.reduce((t, s) => t + (s.depth || 0), 0), f.target_so_far_m || 0, f.high_m || 0) || 1;
      const W = 220, H = 120, wide = W / steps.length, y = (v) => H - 4 - v / top * (H - 12);
      const svg = draw("svg", { viewBox: `0 0 ${W} ${H + 12}`, width: W, height: H + 12, role: "img", "aria-label": "Depth adding up, dressing by dressing" });
      steps.forEach((s, i) => {
        const from = sum; sum += s.depth || 0;
        const x = i * wide + 3, w = wide - 6;
        if (s.depth !== null) svg.append(draw("rect", { x, y: y(sum), width: w, height: Math.max(y(from) - y(sum), 0.8), class: "new" }), draw("rect", { x, y: y(from), width: w, height: H - 4 - y(from), class: "old" }));
        const name = draw("text", { x: x + w / 2, y: H + 8, class: s.depth === null ? "off" : "" });
        name.textContent = steps.length <= 9 && s.key.length <= 5 ? s.key : String(i + 1);
        svg.append(name);
      });
      svg.append(draw("path", { d: `M0 ${H - 4}H${W}`, class: "foot" }));
      if (f.target_so_far_m !== null) svg.append(draw("path", { d: `M0 ${y(f.target_so_far_m)}H${W}`, class: "target" }));
      return make("figure", "", svg, make("figcaption", "", "Depth adding up", f.target_so_far_m === null ? "" : "; line: target so far"));
    }
    function describeCatch(c) {
      const box = make("div", "card"), at = surfaces[c.surface];
      box.append(make("h3", "", "Catch " + c.id));
      const p = data.periods[c.period];
      box.append(make("p", "what", [p ? p.label : "", at ? at.name : "on no surface"].filter(Boolean).join(" · ")));
      const mean = at && c.period >= 0 ? now(at, c.period).depth_m : null;
      box.append(rows([["Depth", show(c.depth, "depth", true), ""], ["Rate", show(c.rate, "rate", true), ""],
        mean !== null && given(c.depth) ? ["Against surface", (c.depth >= mean ? "+" : "") + show(c.depth - mean, "depth", true), ""] : null,
        c.used ? null : ["Set aside", "not used", ""]]));
      if (c.note) box.append(make("p", "note", c.note));
      return box;
    }
    function say(text) { byId("gs-live").textContent = text; }
    function summary(surface) {
      const f = now(surface);
      if (theme === "areas" || !surface.active) return `${surface.name}: ${show(surface.area, "area", true)}`;
      if (theme === "shortfall") return `${surface.name}: shortfall ${show(f.shortfall_m, "depth", true)}${f.state ? ", " + f.state : ""}`;
      if (theme === "overthrow") {
        const c = bandOf(surface, "collar"), s = bandOf(surface, "surrounds");
        return `${surface.name}: collar ${show(c ? ringNow(c).depth : null, "depth", true)}, surrounds ${show(s ? ringNow(s).depth : null, "depth", true)}`;
      }
      return `${surface.name}: ${show(f.depth_m, "depth", true)}${estimated(f) ? ", estimated" : ""}${f.depth_m === null ? " not measured" : ""}`;
    }

    /* ---- choosing a surface ---- */
    const table = document.querySelector(".ledger table"), bodyRows = [...table.tBodies[0].rows];
    const rowOf = (index) => bodyRows.find((row) => Number(row.dataset.s) === index);
    function mark(index) {
      const before = surfaces[chosen];
      chosen = index;
      bodyRows.forEach((row) => row.removeAttribute("aria-current"));
      const row = rowOf(index);
      if (row) row.setAttribute("aria-current", "true");
      [before, surfaces[index]].forEach((s) => {
        if (!s) return;
        if (s.polygon) s.polygon.setStyle(style(s));
        if (s.circle) s.circle.setStyle(style(s, true));
      });
      if (surfaces[index]) raise(surfaces[index]);
    }
    function topOf(surface) { return L.latLng(surface.bounds.getNorth(), surface.bounds.getCenter().lng); }
    function open(surface) {
      const row = rowOf(surface.index);
      mark(surface.index);
      if (row && !row.hidden && matchMedia("(min-width: 900px)").matches) row.scrollIntoView({ block: "nearest" });
      popup.setLatLng(map.getZoom() >= NEAR ? topOf(surface) : surface.point).setContent(describe(surface)).openOn(map);
      document.body.classList.add("card-open");
      say(summary(surface));
    }
    function goTo(surface, from) {
      opener = from || null;
      if (!surface.bounds) return;
      const frame = byId(map.getContainer().id), tall = frame.clientHeight;
      if (frame.getBoundingClientRect().top < 0 || frame.getBoundingClientRect().bottom > innerHeight) frame.scrollIntoView({ block: "nearest", behavior: still ? "auto" : "smooth" });
      map.fitBounds(surface.reach, { paddingTopLeft: [30, Math.min(tall * 0.6, 290)], paddingBottomRight: [30, 34], maxZoom: 20.5, animate: false });
      open(surface);
    }
    live.on("click", (event) => {
      const layer = event.layer || event.propagatedFrom;
      const surface = layer.surface || (layer.band && surfaces[layer.band.surface]);
      L.DomEvent.stopPropagation(event);
      if (surface) { opener = null; open(surface); }
    });
    dots.on("click", (event) => {
      L.DomEvent.stopPropagation(event);
      const c = (event.layer || event.propagatedFrom).catch;
      mark(-1);
      popup.setLatLng(c.at).setContent(describeCatch(c)).openOn(map);
      document.body.classList.add("card-open");
    });
    map.on("popupclose", () => {
      document.body.classList.remove("card-open");
      mark(-1);
      // Only when the keyboard is inside the popup or nowhere is it sent back to where it came from.
      if (opener && (document.activeElement === document.body || popup.getElement().contains(document.activeElement))) opener.focus({ preventScroll: true });
    });
    document.addEventListener("keydown", (event) => { if (event.key === "Escape" && popup.isOpen()) map.closePopup(); });
    // bindTooltip would make each shape a Tab stop, so one tooltip follows the mouse instead.
    const tip = L.tooltip({ direction: "top", offset: [0, -8], className: "gs-tip" });
    live.on("mouseover mousemove", (event) => {
      const layer = event.layer || event.propagatedFrom, s = layer.surface || (layer.band && surfaces[layer.band.surface]);
      if (!s) return;
      const band = layer.band, text = band && !layer.surface ? `${s.name}, ${band.zone}: ${show(ringNow(band).depth, "depth", true)}` : summary(s);
      tip.setLatLng(event.latlng).setContent(document.createTextNode(text));
      if (!map.hasLayer(tip)) map.openTooltip(tip);
    }).on("mouseout", () => map.closeTooltip(tip));
    map.on("zoomstart movestart", () => map.closeTooltip(tip));

    /* ---- table ---- */
    const columns = [...table.tHead.rows[0].cells];
    const keys = columns.map((cell) => cell.dataset.c || "name");
    function cell(key, surface) {
      const f = now(surface), ring = (zone) => (bandOf(surface, zone) ? ringNow(bandOf(surface, zone)) : { depth: null, mass: null });
      const share = f.probability === null ? "" : " " + likely(f.probability);
      switch (key) {
        case "kind": return [surface.kind, surface.kind];
        case "area": return [show(surface.area, "area"), surface.area];
        case "u_area": return [show(surface.uArea, "area"), surface.uArea];
        case "mass": return [show(f.mass_kg, "mass"), f.mass_kg];
        case "depth": return [show(f.depth_m, "depth"), f.depth_m];
        case "range": return [between(f.low_m, f.high_m, "depth"), f.low_m === null ? null : f.high_m - f.low_m];
        case "target": return [show(f.target_so_far_m, "depth"), f.target_so_far_m];
        case "shortfall": return [show(f.shortfall_m, "depth"), f.shortfall_m];
        case "state": return [f.state === null ? NONE : f.state + share, f.state === null ? null : f.state];
        case "catches": return [f.basis === null ? NONE : estimated(f) ? "estimated" : String(f.catches), f.basis === null ? null : f.catches];
        case "collar_depth": return [show(ring("collar").depth, "depth"), ring("collar").depth];
        case "collar_mass": return [show(ring("collar").mass, "mass"), ring("collar").mass];
        case "surrounds_depth": return [show(ring("surrounds").depth, "depth"), ring("surrounds").depth];
        case "surrounds_mass": return [show(ring("surrounds").mass, "mass"), ring("surrounds").mass];
        default: return [surface.name, surface.name];
      }
    }
    function fillTable() {
      bodyRows.forEach((row) => {
        const surface = surfaces[Number(row.dataset.s)];
        keys.forEach((key, i) => { if (i) { const text = cell(key, surface)[0]; if (row.cells[i].textContent !== text) row.cells[i].textContent = text; } });
        const flag = row.cells[0].querySelector(".flag");
        if (under(now(surface)) && !flag) { const f = make("span", "flag", "▼"); f.setAttribute("role", "img"); f.setAttribute("aria-label", "under-dressed"); row.cells[0].append(f); }
        else if (!under(now(surface)) && flag) flag.remove();
      });
      columns.forEach((head) => head.querySelectorAll("[data-unit]").forEach((node) => { node.textContent = unitOf(node.dataset.unit); }));
      if (sorted) sort(sorted.index, sorted.down);
    }
    let sorted = null;
    const compareText = new Intl.Collator("en", { numeric: true, sensitivity: "base" }).compare;
    function sort(index, down) {
      sorted = { index, down };
      const value = new Map(bodyRows.map((row) => [row, cell(keys[index], surfaces[Number(row.dataset.s)])[1]]));
      // Rows without a figure stay last, whichever way the others are sorted.
      const list = bodyRows.slice().sort((a, b) => {
        const x = value.get(a), y = value.get(b);
        if (x === null || x === undefined || y === null || y === undefined) return (given(y) ? 1 : 0) - (given(x) ? 1 : 0) || a.dataset.s - b.dataset.s;
        const by = typeof x === "string" ? compareText(x, y) : x - y;
        return (down ? -by : by) || a.dataset.s - b.dataset.s;
      });
      table.tBodies[0].append(...list);
      columns.forEach((head, i) => { if (i === index) head.setAttribute("aria-sort", down ? "descending" : "ascending"); else head.removeAttribute("aria-sort"); });
    }
    columns.forEach((head, index) => head.firstElementChild.addEventListener("click", () => {
      const numeric = index > 0 && keys[index] !== "kind" && keys[index] !== "state";
      sort(index, sorted && sorted.index === index ? !sorted.down : numeric);
    }));
    function filter() {
      const fold = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
      const wanted = fold(byId("gs-search").value.trim()), kind = byId("gs-kind").value, state = byId("gs-state").value;
      let count = 0;
      bodyRows.forEach((row) => {
        const s = surfaces[Number(row.dataset.s)];
        const fits = (!wanted || fold(s.name + " " + s.id).includes(wanted)) && (!kind || s.kind === kind) && (!state || now(s).state === state);
        row.hidden = !fits; s.hidden = !fits;
        count += fits && (s.active || theme === "areas");
      });
      byId("gs-nothing").hidden = count > 0;
      refresh();
    }
    ["gs-search", "gs-kind", "gs-state"].forEach((id) => byId(id).addEventListener("input", filter));
    document.querySelectorAll("button[data-s]").forEach((button) => button.addEventListener("click", () => goTo(surfaces[Number(button.dataset.s)], button)));
    table.tBodies[0].addEventListener("click", (event) => {
      const button = event.target.closest("th button");
      if (button) goTo(surfaces[Number(button.closest("tr").dataset.s)], button);
    });

    /* ---- legend ---- */
    function swatch(colour, text) { const i = make("i"); i.style.background = colour; return make("li", "", i, text); }
    function legend() {
      const list = byId("gs-classes"), title = byId("gs-legend-title");
      list.textContent = "";
      document.querySelectorAll("#gs-signs li").forEach((li) => { li.hidden = !li.dataset.for.split(" ").includes(theme) || (li.dataset.overlay && !map.hasLayer(groups[li.dataset.overlay])); });
      if (theme === "areas") {
        title.textContent = data.legends.areas;
        for (const kind in data.kinds) {
          const of = surfaces.filter((s) => s.kind === kind), total = of.reduce((t, s) => t + (s.area || 0), 0);
          list.append(swatch(data.kinds[kind], `${kind} · ${of.length} · ${show(total, "area", true)}`));
        }
        return;
      }
      const shown = theme === "overthrow" ? bands.map((band) => ringNow(band).depth) : surfaces.map((s) => valueOf(now(s)));
      const limits = shown.some((value) => value !== null) ? breaks()[units] || [] : [];
      title.textContent = data.legends[theme] + ", " + unitOf("depth");
      if (!limits.length) {
        list.append(make("li", "nothing", theme === "overthrow" ? "No overthrow drawn in this period" : theme === "shortfall" ? "No shortfall in this period: targets are followed over the season" : "Not measured in this period"));
        return;
      }
      let decimals = data.units[units].depth[2];
      while (decimals && limits.every((v) => Number(v.toFixed(decimals - 1)) === v)) decimals -= 1;
      const text = limits.map((v) => number(v, decimals)), joint = limits[0] < 0 ? " to " : "–";
      const labels = ["under " + text[0], ...text.slice(1).map((v, i) => text[i] + joint + v), text[3] + " or more"];
      if (theme === "shortfall") { labels[0] += ", ahead"; labels[4] += ", short"; }
      labels.forEach((line, i) => list.append(swatch(data.scales[theme][i], line)));
      if (theme === "overthrow" && data.periods[period].doubt) list.append(make("li", "nothing", "not told from zero: dotted outlines"));
    }

    /* ---- views, periods, units ---- */
    function recolour() {
      document.body.dataset.theme = theme;
      table.dataset.theme = theme;
      document.querySelectorAll(".account > div").forEach((block) => { block.hidden = !(Number(block.dataset.p) === period && block.dataset.units === units); });
      legend(); filter();
      if (popup.isOpen() && chosen >= 0) popup.setContent(describe(surfaces[chosen]));
    }
    function everything() { fillTable(); recolour(); }
    map.on("baselayerchange", (event) => {
      theme = Object.keys(themes).find((key) => themes[key] === event.layer) || theme;
      recolour();
      say(data.themes[theme]);
    });
    map.on("overlayadd overlayremove", (event) => {
      if (event.layer === groups.catches) { if (map.hasLayer(groups.catches)) map.addLayer(dots); else map.removeLayer(dots); }
      if (event.layer === groups.names) label();
      if (event.layer === groups.passes) { drive(map.getZoom() >= NEAR, map.getBounds().pad(0.3)); legend(); }
    });
    byId("gs-period").addEventListener("change", (event) => {
      period = Number(event.target.value);
      document.querySelector(".side").scrollTop = 0;
      everything();
      say(data.periods[period].label);
    });
    document.querySelectorAll("input[name=gs-units]").forEach((radio) => radio.addEventListener("change", () => { units = radio.value; scaleBar(); everything(); }));

    /* ---- background the user named; nothing is asked for until it is ticked ---- */
    if (data.background) {
      const attribution = document.createElement("span");
      attribution.textContent = data.background[1];
      const tiles = L.tileLayer(data.background[0], { maxNativeZoom: 19, maxZoom: 23, opacity: 0.75, attribution: attribution.innerHTML });
      control.addOverlay(tiles, "Background (asks the internet)");
      L.control.attribution({ prefix: false, position: "bottomright" }).addTo(map);
    }

    /* ---- print ---- */
    let before = null;
    addEventListener("beforeprint", () => {
      before = { atHome, centre: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds() };
      map.closePopup();
      document.documentElement.classList.add("printing");
      // A repeated heading row prints no buttons, so their words stand in the cells meanwhile.
      columns.forEach((head) => { const button = head.firstElementChild; head.append(...button.childNodes); button.hidden = true; });
      document.querySelectorAll("details").forEach((d) => { d.wasOpen = d.open; d.open = true; });
      map.invalidateSize({ pan: false, animate: false });
      if (before.zoom >= NEAR) map.fitBounds(before.bounds, { animate: false });
      else home();
      refresh();
    });
    addEventListener("afterprint", () => {
      document.documentElement.classList.remove("printing");
      columns.forEach((head) => { const button = head.firstElementChild; button.append(...[...head.childNodes].filter((node) => node !== button)); button.hidden = false; });
      document.querySelectorAll("details").forEach((d) => { d.open = d.wasOpen; });
      map.invalidateSize({ pan: false, animate: false });
      if (before && before.atHome) home();
      else if (before) map.setView(before.centre, before.zoom, { animate: false });
    });
    byId("gs-print").addEventListener("click", () => print());

    /* ---- begin ---- */
    patterns();
    byId("gs-layers").append(control.getContainer());
    const base = control.getContainer().querySelector(".leaflet-control-layers-base");
    base.setAttribute("role", "radiogroup");
    base.setAttribute("aria-label", "View");
    map.addLayer(dots);
    home();
    scaleBar();
    everything();
    map.on("zoomend moveend", refresh);
    new ResizeObserver(() => {
      if (document.documentElement.classList.contains("printing")) return;
      const was = atHome;
      map.invalidateSize({ pan: !was, animate: false });
      if (was) home();
    }).observe(map.getContainer());
    document.body.dataset.ready = "yes";
  }
  return { start };
})();
