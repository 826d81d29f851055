/* Names: upon their surface where there is room, else beside it, and left out where they would
   lie on another surface, on a sign of the map or on another name. */
geosand.labels = function (page) {
  const { make, given } = geosand,
    { apart, away, touches, squares } = geosand.screen,
    { map, groups } = page;
  const NARROW = 500,
    GAP = 4,
    MOST = 260;
  const pane = map.createPane("gs-labels");
  pane.style.zIndex = 620;
  pane.style.pointerEvents = "none";

  /* ---- what is in the way ---- */
  function furniture() {
    const corner = map.getContainer().getBoundingClientRect();
    return [...map.getContainer().querySelectorAll(".leaflet-control")]
      .map((control) => control.getBoundingClientRect())
      .filter((box) => box.width)
      .map((box) => [
        box.left - corner.left,
        box.top - corner.top,
        box.right - corner.left,
        box.bottom - corner.top,
      ]);
  }
  const pixels = (bounds) => {
    const a = map.latLngToContainerPoint(bounds.getNorthWest()),
      b = map.latLngToContainerPoint(bounds.getSouthEast());
    return [a.x, a.y, b.x, b.y];
  };
  function shapeOf(surface, near) {
    const at = map.latLngToContainerPoint(surface.point);
    if (!near) {
      const r = page.radiusOf(surface) + (surface.halo && page.live.hasLayer(surface.halo) ? 5 : 1);
      const box = [at.x - r, at.y - r, at.x + r, at.y + r];
      return { surface, at, box, reach: box, room: 0 };
    }
    const rings = surface.rings.map((polygon) =>
      polygon[0].map((corner) => map.latLngToContainerPoint(corner)),
    );
    const perMetre =
      Math.abs(map.latLngToContainerPoint([surface.point.lat + 1e-3, surface.point.lng]).y - at.y) / 111.195;
    return {
      surface,
      at,
      rings,
      box: pixels(surface.bounds),
      reach: pixels(surface.reach),
      room: surface.radius * perMetre,
    };
  }
  function dotBoxes(near) {
    if (!near) return [];
    const boxes = [];
    page.dots.eachLayer((dot) => {
      const p = map.latLngToContainerPoint(dot.getLatLng());
      boxes.push([p.x - 8, p.y - 8, p.x + 8, p.y + 8]);
    });
    return boxes;
  }

  /* ---- the words ---- */
  const nodes = new Map(),
    sizes = new Map();
  function nodeOf(surface, near, name = surface.name) {
    const size =
      page.theme === "areas" && near && given(surface.area) ? page.show(surface.area, "area", true) : "";
    const flag = page.flagged(surface),
      key = [surface.index, name === surface.name, flag, size].join("|");
    if (!nodes.has(key)) {
      nodes.set(
        key,
        make(
          "span",
          surface.kind === "green" ? "strong" : "",
          flag ? make("i", "", "▼\u00a0") : "",
          name,
          size ? make("small", "", size) : "",
        ),
      );
    }
    return { key, node: nodes.get(key), flag };
  }
  function measure(words) {
    const fresh = words.filter(({ key }) => !sizes.has(key));
    fresh.forEach(({ node }) => pane.append(node));
    fresh.forEach(({ key, node }) => sizes.set(key, [node.offsetWidth, node.offsetHeight]));
  }
  const numbers = new Map();
  function numberNode(surface) {
    const text = String(page.caught(surface).length);
    const node = numbers.get(surface.index) || make("b", "count");
    numbers.set(surface.index, node);
    node.textContent = text;
    return node;
  }

  /* ---- where a name may stand, best first ---- */
  function beside([left, top, right, bottom], w, h, gap) {
    const x = (left + right) / 2,
      y = (top + bottom) / 2;
    const dx = ((right - left) / 2) * 0.72 + gap,
      dy = ((bottom - top) / 2) * 0.72 + gap;
    return [
      [x - w / 2, bottom + gap],
      [x - w / 2, top - h - gap],
      [right + gap, y - h / 2],
      [left - w - gap, y - h / 2],
      [x + dx, y + dy],
      [x - dx - w, y + dy],
      [x + dx, y - dy - h],
      [x - dx - w, y - dy - h],
    ];
  }
  function spots(shape, w, h) {
    const list = [];
    if (shape.room > Math.hypot(w, h) / 2 + 3) list.push([shape.at.x - w / 2, shape.at.y - h / 2, true]);
    const boxes = page.theme === "overthrow" ? [shape.reach, shape.box] : [shape.box, shape.reach];
    boxes.forEach((box) => list.push(...beside(box, w, h, GAP)));
    if (!shape.rings) list.push(...beside(shape.box, w, h, GAP + 9));
    return list;
  }
  function rank(surface) {
    const { index, kind, area } = surface;
    return (
      (index === page.chosen ? -4 : 0) +
      (page.flagged(surface) ? -2 : 0) +
      (kind === "green" ? -1 : 0) -
      Math.min((area || 0) / 1e6, 0.5)
    );
  }
  /* On a narrow map only what matters most is named from afar. */
  function chosenFew(shapes, near) {
    const narrow =
      !near && map.getSize().x < NARROW && shapes.some(({ surface }) => surface.kind === "green");
    const named = shapes.filter(({ surface }) => !surface.faded && (!narrow || rank(surface) <= -1));
    return named.sort((a, b) => rank(a.surface) - rank(b.surface)).slice(0, MOST);
  }

  /* A name and, on a narrow map from afar, the id for where the name has no room; not beside
     numbers of catches, as ids may be numbers. */
  function wordsOf(surface, near) {
    const { id, name } = surface;
    const narrow = !near && map.getSize().x < NARROW && page.theme !== "catches",
      brief = narrow && id.length < name.length;
    return [name, ...(brief ? [id] : [])].map((text) => nodeOf(surface, near, text));
  }

  /* What the names depend on, beside the place and the scale of the map. */
  const scene = () =>
    [
      page.near(),
      page.theme === "areas",
      page.theme === "catches",
      page.theme === "overthrow" && page.near(),
      page.period,
      page.theme === "areas" && page.units,
    ].join();
  page.relabel = () => {
    if (page.scene !== scene()) page.labelSoon();
  };
  /* Close by, each catch has its depth beside it where there is room; the boxes of these figures. */
  function values(put) {
    const taken = squares(),
      dots = [],
      boxes = [],
      wide = 7 * page.show(0.001, "depth").length,
      tall = 13;
    page.dots.eachLayer((dot) => {
      const { x, y } = map.latLngToContainerPoint(dot.getLatLng()),
        box = [x - 7, y - 7, x + 7, y + 7];
      dots.push({ x, y, caught: dot.caught });
      taken.add(box, box);
    });
    dots
      .filter(({ caught }) => given(caught.depth))
      .forEach(({ x, y, caught }) => {
        const box = [
          [x + 9, y - tall / 2],
          [x - 9 - wide, y - tall / 2],
          [x - wide / 2, y + 9],
          [x - wide / 2, y - 9 - tall],
        ]
          .map(([left, top]) => [left, top, left + wide, top + tall])
          .find((at) => !taken.some(at, (other) => !apart(other, at)));
        if (!box) return;
        taken.add(box, box);
        boxes.push(box);
        put(make("em", "", page.show(caught.depth, "depth")), box[0], box[1]);
      });
    return boxes;
  }
  let waiting = 0;
  /* Names follow one picture later, so that colours answer at once. */
  page.labelSoon = function () {
    if (!waiting) waiting = requestAnimationFrame(() => setTimeout(page.label));
  };
  page.label = function () {
    waiting = 0;
    page.scene = scene();
    pane.textContent = "";
    const near = page.near(),
      size = map.getSize(),
      view = map.getBounds().pad(0.2),
      counted = !near && page.theme === "catches" && map.getZoom() >= 14.75;
    if (!map.hasLayer(groups.names) && page.theme !== "catches") return;
    const shapes = page.order.filter((s) => view.intersects(s.bounds)).map((s) => shapeOf(s, near));
    const shown = shapes.filter(({ surface }) => surface.active || page.theme === "areas");
    const origin = map.containerPointToLayerPoint([0, 0]),
      placed = document.createDocumentFragment();
    const put = (node, x, y) => {
      L.DomUtil.setPosition(node, L.point(x, y).add(origin).round());
      placed.append(node);
    };
    if (counted) shown.forEach(({ surface, at }) => put(numberNode(surface), at.x, at.y));
    const figures = near && page.theme === "catches" && map.getZoom() >= 19.25 ? values(put) : [];
    if (map.hasLayer(groups.names))
      names(
        figures,
        chosenFew(shown.slice(), near),
        near ? shapes.filter(({ surface }) => surface.kind !== "fairway") : shown,
        near,
        size,
        put,
      );
    pane.textContent = "";
    pane.append(placed);
  };

  function names(figures, few, solid, near, size, put) {
    const taken = squares(),
      others = squares();
    [...furniture(), ...dotBoxes(near), ...figures].forEach((box) => taken.add(box, box));
    const seen = [-50, -50, size.x + 50, size.y + 50];
    solid
      .filter(({ box }) => !apart(box, seen))
      .forEach((shape) =>
        others.add(
          [
            Math.max(shape.box[0], -80),
            Math.max(shape.box[1], -80),
            Math.min(shape.box[2], size.x + 80),
            Math.min(shape.box[3], size.y + 80),
          ],
          shape,
        ),
      );
    const words = few.map(({ surface }) => wordsOf(surface, near));
    measure(words.flat());
    const onMap = (box) => box[0] >= 2 && box[1] >= 2 && box[2] <= size.x - 2 && box[3] <= size.y - 2;
    few.forEach((shape, i) => {
      const last = words[i].length - 1;
      words[i].some(({ key, node }, k) => place(shape, node, sizes.get(key), k === last));
    });

    /* Whether there was room; the chosen surface's last word is put down in any case. */
    function place(shape, node, [w, h], last) {
      const free =
        (by) =>
        ([x, y, upon]) => {
          const box = [x - 2, y, x + w + 2, y + h];
          if (!onMap(box) || taken.some(box, (other) => !apart(box, other)) || (!upon && touches(shape, box)))
            return false;
          const own = away(shape.at, box),
            wide = near ? box : [box[0] - 24, box[1] - 24, box[2] + 24, box[3] + 24];
          return !others.some(
            wide,
            (other) => other !== shape && (touches(other, box) || (!near && away(other.at, box) <= by * own)),
          );
        };
      // A name beside one circle must not read as the name of another. A green may stand less clear of others than the rest; what is short of sand is named in any case.
      const clearance = [
        1,
        ...(shape.surface.kind === "green" ? [0.6] : []),
        ...(page.flagged(shape.surface) ? [0] : []),
      ];
      const list = spots(shape, w, h);
      const spot =
        clearance.reduce((found, by) => found || list.find(free(by)), null) ||
        (last && shape.surface.index === page.chosen && list.find(([x, y]) => onMap([x, y, x + w, y + h])));
      if (!spot) return false;
      const box = [spot[0] - 3, spot[1] - 1, spot[0] + w + 3, spot[1] + h + 1];
      taken.add(box, box);
      put(node, spot[0], spot[1]);
      return true;
    }
  }
};
