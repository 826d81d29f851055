/* Names: upon their surface where there is room, else beside it where nothing else is as near, else
   the short name there; what matters most may stand off at the end of a line. All others are left
   out, and none lies on another surface, on a sign of the map or on another name. */
geosand.labels = function (page) {
  const { make, draw, given } = geosand,
    { apart, touches, upon, gap, grown, squares } = geosand.screen,
    { map, groups } = page;
  const NARROW = 500,
    GAP = 4,
    MOST = 260,
    CLEAR = 1.3; // how much farther the next surface has to be than the one that is named
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
    const named = surface.active || page.theme === "areas";
    if (!near) {
      const radius = page.radiusOf(surface) + (surface.halo && page.live.hasLayer(surface.halo) ? 5 : 1);
      const box = grown([at.x, at.y, at.x, at.y], radius);
      return { surface, at, box, reach: box, room: 0, radius, named };
    }
    const rings = surface.rings.flat().map((ring) => ring.map((corner) => map.latLngToContainerPoint(corner)));
    const perMetre =
      Math.abs(map.latLngToContainerPoint([surface.point.lat + 1e-3, surface.point.lng]).y - at.y) / 111.195;
    return {
      surface,
      at,
      rings,
      box: pixels(surface.bounds),
      reach: pixels(surface.reach),
      room: surface.radius * perMetre,
      named,
    };
  }
  function dotBoxes(near) {
    if (!near) return [];
    const boxes = [];
    page.dots.eachLayer((dot) => {
      const { x, y } = map.latLngToContainerPoint(dot.getLatLng()),
        half = 8 * page.dotScale(page.surfaces[dot.caught.surface]);
      boxes.push(Object.assign(boxAt(x, y, 2 * half, 2 * half), { of: dot.caught.surface }));
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
      key = [surface.index, name, flag, size].join("|");
    if (!nodes.has(key)) {
      const node = make(
        "span",
        surface.kind === "green" ? "strong" : "",
        flag ? make("i", "", "▼\u00a0") : "",
        name,
        size ? make("small", "", size) : "",
      );
      node.dir = "auto"; // a long name loses its end, not its beginning
      nodes.set(key, node);
    }
    return { key, node: nodes.get(key), flag, name };
  }
  function measure(words) {
    const fresh = words.filter(({ key }) => !sizes.has(key));
    fresh.forEach(({ node }) => pane.append(node));
    fresh.forEach(({ key, node, name }) =>
      sizes.set(key, [node.offsetWidth, node.offsetHeight, tells(name, node.offsetWidth / node.scrollWidth)]),
    );
  }
  /* Whether what is seen of a name is no other's: the ends of long ones are cut. */
  function tells(name, seen) {
    const head = name.slice(0, Math.max(1, Math.floor(name.length * seen) - 2));
    return seen >= 1 || !page.surfaces.some((other) => other.name !== name && other.name.startsWith(head));
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
  const boxAt = (x, y, w, h) => [x - w / 2, y - h / 2, x + w / 2, y + h / 2];
  /* Upon a surface: about the point farthest from its edge, else wherever it is in sight. */
  function inside(shape, w, h, size) {
    if (!shape.rings) return [];
    const list = shape.room > Math.hypot(w, h) / 2 + 3 ? [boxAt(shape.at.x, shape.at.y, w, h)] : [];
    const [left, top, right, bottom] = shape.box;
    const from = [Math.max(left, 4) + w / 2, Math.max(top, 4) + h / 2],
      to = [Math.min(right, size.x - 4) - w / 2, Math.min(bottom, size.y - 4) - h / 2];
    if (from[0] > to[0] || from[1] > to[1]) return list;
    for (const down of TURNS)
      for (const along of TURNS) {
        const box = boxAt(from[0] + along * (to[0] - from[0]), from[1] + down * (to[1] - from[1]), w, h);
        if (upon(shape, grown(box, 2))) list.push(box);
      }
    return list;
  }
  const TURNS = [0.5, 0.3, 0.7, 0.1, 0.9];
  function outside(shape, w, h) {
    const boxes = page.theme === "overthrow" ? [shape.reach, shape.box] : [shape.box, shape.reach];
    return boxes.flatMap((box) => beside(box, w, h, GAP)).map(([x, y]) => [x, y, x + w, y + h]);
  }
  /* At the end of a line that leads to the surface: near ones first. */
  function off(shape, w, h) {
    const list = [],
      [left, top, right, bottom] = shape.box,
      { x, y } = shape.at;
    for (const far of [12, 24, 40])
      for (let turn = 0; turn < 12; turn++) {
        const [dx, dy] = [Math.cos((turn * Math.PI) / 6), Math.sin((turn * Math.PI) / 6)];
        list.push(
          boxAt(
            x + dx * ((right - left) / 2 + far + w / 2),
            y + dy * ((bottom - top) / 2 + far + h / 2),
            w,
            h,
          ),
        );
      }
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

  /* A name and, for where it has no room, a short one; beside figures of catches none that is a
     number. */
  function wordsOf(surface, near) {
    const { id, name } = surface,
      other = /[a-z]/i.test(id) && id.length < name.length ? id : null,
      short = page.theme === "catches" ? other : page.brief(surface);
    return [name, ...(short ? [short] : [])].map((text) => nodeOf(surface, near, text));
  }

  /* What the names depend on, beside the place and the scale of the map. */
  const scene = () =>
    [
      page.near(),
      page.near() && page.theme, // light letters upon dark colours
      page.theme === "areas",
      page.theme === "catches",
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
    cancelAnimationFrame(waiting);
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
    if (map.hasLayer(groups.names)) names(figures, chosenFew(shown.slice(), near), near ? shapes : shown, near, size, put);
    pane.textContent = "";
    pane.append(placed);
  };

  /* Ground that is only a backdrop: fairways, and what lies around the surface that is named. */
  function backdrop(other, shape) {
    if (other.named) return false;
    if (other.surface.kind === "fairway") return true;
    const [a, b] = [other.box, shape.box];
    return a[0] <= b[0] && a[1] <= b[1] && a[2] >= b[2] && a[3] >= b[3];
  }
  function names(figures, few, solid, near, size, put) {
    const taken = squares(),
      others = squares(),
      lines = [];
    [...furniture(), ...dotBoxes(near), ...figures].forEach((box) => taken.add(box, box));
    const seen = [-50, -50, size.x + 50, size.y + 50];
    solid
      .filter(({ box }) => !apart(box, seen))
      .forEach((shape) => {
        const [left, top, right, bottom] = shape.box;
        others.add(
          [Math.max(left, -80), Math.max(top, -80), Math.min(right, size.x + 80), Math.min(bottom, size.y + 80)],
          shape,
        );
      });
    const words = few.map(({ surface }) => wordsOf(surface, near));
    measure(words.flat());
    words.forEach((each) => each.length > 1 && !sizes.get(each[0].key)[2] && each.shift());

    const onMap = (box) => box[0] >= 2 && box[1] >= 2 && box[2] <= size.x - 2 && box[3] <= size.y - 2;
    const open = (box) => onMap(box) && !taken.some(box, (other) => !apart(box, other));
    const onOthers = (shape, box) =>
      others.some(box, (other) => other !== shape && !backdrop(other, shape) && touches(other, box));
    /* Beside its own surface, which no other that could have the name is nearly as close to. */
    function plain(shape, box) {
      if (!open(box) || touches(shape, box) || onOthers(shape, grown(box, 1))) return false;
      const own = gap(shape, box),
        around = grown(box, Math.max(CLEAR * own, own + 2));
      return !others.some(around, (other) => other !== shape && other.named && touches(other, around));
    }
    /* The free line from a name to its surface: both ends, and what lies along it in small boxes. */
    function lineTo(shape, box) {
      const x = Math.max(box[0], Math.min(shape.at.x, box[2])),
        y = Math.max(box[1], Math.min(shape.at.y, box[3])),
        [dx, dy] = [shape.at.x - x, shape.at.y - y],
        steps = Math.ceil(Math.hypot(dx, dy) / 3),
        along = [];
      for (let k = 0; k <= steps; k++) {
        const at = [x + (dx * k) / steps, y + (dy * k) / steps],
          spot = boxAt(...at, 2, 2);
        if (touches(shape, spot)) return { ends: [x, y, ...at], along };
        // a line may end among the catches of its surface
        const crossed = (other) => other.of !== shape.surface.index && !apart(spot, other);
        if (taken.some(spot, crossed) || onOthers(shape, spot)) return null;
        along.push(spot);
      }
      return null;
    }
    function led(shape, box) {
      if (!open(box) || touches(shape, box) || onOthers(shape, grown(box, 1))) return null;
      return lineTo(shape, box);
    }
    function keep(box, node, line) {
      taken.add(grown(box, 2), grown(box, 2));
      put(node, box[0], box[1]);
      if (!line) return;
      line.along.forEach((spot) => taken.add(spot, spot));
      lines.push(line.ends);
    }
    function close(shape, { key, node }) {
      const [w, h] = sizes.get(key);
      const on = inside(shape, w, h, size).find(open),
        box = on || outside(shape, w, h).find((at) => plain(shape, at));
      node.classList.toggle("light", Boolean(on) && page.dark(shape.surface));
      if (box) keep(box, node);
      return box;
    }
    function afar(shape, { key, node }) {
      const [w, h] = sizes.get(key);
      return off(shape, w, h).some((box) => {
        const line = led(shape, box);
        if (line) keep(box, node, line);
        return line;
      });
    }
    // What is short of sand, or chosen, has its whole name at the end of a line before a short one.
    few.forEach((shape, i) => {
      const weight = rank(shape.surface),
        each = (way) => words[i].some((word) => way(shape, word));
      const stands =
        weight <= -2
          ? each((s, word) => close(s, word) || afar(s, word))
          : each(close) || (weight <= -1 && each(afar));
      if (!stands && weight <= -1 && !near) within(shape, words[i].at(-1));
    });
    if (lines.length) put(leaders(lines), 0, 0);

    /* The last word, small, in its own circle, where nothing else lies on that. */
    function within({ at, radius, surface }, { node }) {
      const text = node.lastChild.textContent,
        half = Math.min(radius - 1, 3.2 * text.length),
        box = boxAt(at.x, at.y, 2 * half, 11);
      if (3.2 * text.length > radius - 1 || !open(box)) return;
      taken.add(box, box);
      put(make("b", page.dark(surface) ? "count light" : "count", text), at.x, at.y);
    }
  }
  /* All lines in one drawing, the corner of which is that of the map. */
  function leaders(lines) {
    const d = lines.map(([x, y, right, bottom]) => `M${x} ${y}L${right} ${bottom}`).join("");
    return draw(
      "svg",
      { class: "gs-leaders", width: 1, height: 1, "aria-hidden": "true" },
      draw("path", { d, class: "under" }),
      draw("path", { d }),
    );
  }
};
