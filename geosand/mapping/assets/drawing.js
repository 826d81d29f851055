/* Surfaces, rings, catches and passes: made when first in view, then only what changed is painted. */
geosand.NEAR = 17; // from this zoom on greens are drawn as they are, below it as circles
geosand.drawing = function (page) {
  const { make, draw, INK, CHOSEN, NEAR } = geosand,
    { map, surfaces, groups } = page;
  const HAZARDS = ["bunker", "water", "path"],
    RINGS = ["surrounds", "collar"];
  const renderer = {};
  [
    ["ground", 250],
    ["under", 380],
    ["bands", 390],
    ["passes", 450],
  ].forEach(([name, order]) => {
    const pane = map.createPane("gs-" + name);
    pane.style.zIndex = order;
    pane.setAttribute("aria-hidden", "true");
    renderer[name] = L.svg({ pane: "gs-" + name, padding: 0.5 });
  });
  renderer.top = L.svg({ padding: 0.5 });
  map.getPane("overlayPane").setAttribute("aria-hidden", "true"); // the table holds the same
  page.groundRenderer = renderer.ground;
  const on = (name, options) =>
    Object.assign({ renderer: renderer[name] }, name === "top" ? {} : { pane: "gs-" + name }, options);

  // Pitches and straights are told by their outline from farther off. Of 900 m² a green is large.
  const sides = surfaces.filter((s) => s.active && s.area).map((s) => Math.sqrt(s.area));
  const side = sides.sort((a, b) => a - b)[Math.floor(sides.length * 0.4)] || 0;
  const nearFrom = NEAR - Math.log2(Math.max(side / 30, 1));
  page.near = () => map.getZoom() >= nearFrom;
  page.live = L.featureGroup().addTo(map);
  page.dots = L.featureGroup().addTo(map);
  // Large ones first, so that a small one beside or upon them stays in sight.
  page.order = surfaces
    .filter((s) => s.bounds)
    .sort((a, b) => a.active - b.active || (b.area || 0) - (a.area || 0));
  const beneath = (surface) => !surface.active && !HAZARDS.includes(surface.kind);
  const present = (surface) => surface.active || page.theme === "areas";

  /* Sets what differs from before; true where anything did. */
  function paint(layer, style) {
    for (const key in style) if (layer.options[key] !== style[key]) return layer.setStyle(style);
    return layer;
  }
  function circleOf(surface) {
    if (!surface.circle) {
      surface.circle = L.circleMarker(
        surface.point,
        on(surface.active ? "top" : "under", { radius: page.radiusOf(surface) }),
      );
      surface.circle.surface = surface;
    }
    const radius = page.radiusOf(surface);
    if (surface.circle.getRadius() !== radius) surface.circle.setRadius(radius);
    return surface.circle;
  }
  page.radiusOf = function (surface) {
    const zoom = map.getZoom(),
      size = surface.kind === "green" || surface.kind === "pitch" ? 8.5 : 6;
    return size * (zoom < 13.5 ? 0.45 : zoom < 14.75 ? 0.7 : 1);
  };
  function polygonOf(surface) {
    if (!surface.polygon) {
      surface.polygon = L.polygon(
        surface.rings,
        on(beneath(surface) ? "under" : "top", { smoothFactor: 0.3 }),
      );
      surface.polygon.surface = surface;
    }
    return surface.polygon;
  }
  function bandOf(band) {
    if (!band.layer) {
      band.layer = L.polygon(page.outline(band.shape), on("bands", { smoothFactor: 0.3 }));
      band.layer.band = band;
    }
    return band.layer;
  }
  function haloOf(surface) {
    const band =
      surface.around.find((b) => b.zone === "collar" && page.thrown(b)) || surface.around.find(page.thrown);
    if (!band) return null;
    const radius = page.radiusOf(surface) + 5;
    surface.halo = surface.halo || L.circleMarker(surface.point, on("bands", { radius }));
    surface.halo.band = band;
    return surface.halo.getRadius() === radius ? surface.halo : surface.halo.setRadius(radius);
  }

  /* ---- what is wanted in view, with its style, lowest first ---- */
  function nearby(view) {
    const seen = page.order.filter((s) => view.intersects(s.bounds)),
      wanted = [];
    if (page.theme !== "areas") {
      for (const full of [false, true])
        for (const zone of RINGS)
          seen.forEach((s) =>
            s.around.forEach((band) => {
              if (band.zone === zone && page.thrown(band) === full)
                wanted.push([bandOf(band), page.bandStyle(band)]);
            }),
          );
    }
    seen.forEach((s) => wanted.push([polygonOf(s), page.style(s)]));
    return wanted;
  }
  function fromAfar(view) {
    const wanted = [];
    page.order
      .filter((s) => present(s) && view.contains(s.point))
      .forEach((s) => {
        const halo = page.theme === "overthrow" && haloOf(s);
        if (halo) wanted.push([halo, page.bandStyle(halo.band)]);
        wanted.push([circleOf(s), page.style(s, true)]);
      });
    return wanted;
  }
  let drawn = new Set();
  function exchange(wanted) {
    const layers = new Set(wanted.map(([layer]) => layer));
    drawn.forEach((layer) => {
      if (!layers.has(layer)) page.live.removeLayer(layer);
    });
    // Within one pane a later drawing lies above; what would have to lie lower is drawn anew.
    const moved = new Set();
    wanted.forEach(([layer, style]) => {
      paint(layer, style);
      if (!drawn.has(layer)) {
        page.live.addLayer(layer);
        moved.add(layer.options.renderer);
      } else if (moved.has(layer.options.renderer)) layer.bringToFront();
    });
    drawn = layers;
  }

  /* ---- catches: ▼ less than the estimate for their surface, ● about it, ▲ more ---- */
  const TRIANGLE = { "-1": "M-1-.9H1L0 1Z", 1: "M0-1 1 .9H-1Z" };
  function dotOf(caught) {
    if (!caught.layer) {
      const face = caught.used
        ? draw(
            "svg",
            { viewBox: "-11 -11 22 22", width: 22, height: 22, "aria-hidden": "true" },
            draw("path", { class: "gs-catch" }),
          )
        : make("b", "gs-aside", "×");
      caught.layer = L.marker(caught.at, {
        keyboard: false,
        icon: L.divIcon({ className: "gs-dot", html: face, iconSize: [22, 22] }),
      });
      caught.layer.caught = caught;
      caught.face = face.firstChild;
    }
    if (caught.used) paintDot(caught);
    return caught.layer;
  }
  // small from farther off, and so that the dots of a surface cover about a third of its colour at most
  page.dotScale = function (surface) {
    const zoom = map.getZoom(),
      scale = zoom < 18 ? 0.5 : zoom < 18.75 ? 0.75 : 1;
    if (!surface || !surface.area || !surface.crowd) return scale;
    const metre = map.options.crs.scale(zoom) / 4.0075e7 / Math.cos((surface.point.lat * Math.PI) / 180);
    return Math.max(0.2, Math.min(scale, (Math.sqrt(surface.area / surface.crowd / 10) * metre) / 4.5));
  };
  function paintDot(caught) {
    const shown = page.theme === "catches" ? page.residualClass(caught) : -1;
    const side = Math.sign(shown - 2),
      scale = page.dotScale(surfaces[caught.surface]),
      size = scale * (shown < 0 || !side ? 4.5 : Math.abs(shown - 2) === 2 ? 8 : 6);
    const round = shown < 0 || !side;
    const path = round
      ? `M${-size} 0a${size} ${size} 0 1 0 ${2 * size} 0a${size} ${size} 0 1 0 ${-2 * size} 0Z`
      : TRIANGLE[side].replace(/-?\d*\.?\d+/g, (n) => String(Number(n) * size));
    if (caught.face.getAttribute("d") !== path) caught.face.setAttribute("d", path);
    caught.face.style.strokeWidth = 0.4 + 1.1 * scale;
    caught.face.setAttribute("fill", shown < 0 ? INK : page.data.scales.catches[shown]);
    caught.face.setAttribute("stroke", shown < 0 ? "#fff" : INK);
  }
  function showCatches(near, view) {
    const asked = near && (page.theme === "catches" || map.hasLayer(groups.catches));
    if (asked) surfaces.forEach((surface) => (surface.crowd = page.caught(surface).length));
    const wanted = new Set(
      asked ? page.catches.filter((c) => page.inPeriod(c) && view.contains(c.at)).map(dotOf) : [],
    );
    page.dots.eachLayer((layer) => {
      if (!wanted.has(layer)) page.dots.removeLayer(layer);
    });
    wanted.forEach((layer) => page.dots.addLayer(layer));
  }

  /* ---- passes of the next dressing: near by, for what is in view, and only when asked for ---- */
  const driven = L.layerGroup().addTo(map);
  function showPasses(near, view) {
    driven.clearLayers();
    if (!near || !groups.passes || !map.hasLayer(groups.passes)) return;
    const under = on("passes", {
      interactive: false,
      smoothFactor: 0,
      color: "#fffdf8",
      weight: 3.4,
      opacity: 0.75,
    });
    page.order
      .filter((s) => s.passes && !s.faded && view.intersects(s.bounds))
      .forEach(({ passes: { lines } }) => {
        const line = Object.assign({}, under, {
          color: CHOSEN,
          weight: 1.4,
          opacity: 1,
          className: "gs-pass",
        });
        const begin = Object.assign({}, under, {
          radius: 3.5,
          weight: 1.2,
          opacity: 1,
          fillColor: CHOSEN,
          fillOpacity: 1,
        });
        driven
          .addLayer(L.polyline(lines, under))
          .addLayer(L.polyline(lines, line))
          .addLayer(L.circleMarker(lines[0][0], begin));
      });
  }

  page.redraw = function () {
    const near = page.near(),
      view = map.getBounds().pad(0.3);
    document.body.classList.toggle("near", near);
    exchange(near ? nearby(view) : fromAfar(view));
    page.drawCells(view);
    showCatches(near, view);
    showPasses(near, view);
    if (page.chosen >= 0) page.raise(surfaces[page.chosen]);
  };
  page.raise = function (surface) {
    const layer = page.near() ? surface.polygon : surface.circle;
    if (layer && page.live.hasLayer(layer)) layer.bringToFront();
  };
  page.repaint = function (surface) {
    if (surface.polygon) paint(surface.polygon, page.style(surface));
    if (surface.circle) paint(surface.circle, page.style(surface, true));
  };
};
