/* Boxes and outlines on the screen; a box is [left, top, right, bottom] in pixels. */
geosand.screen = (function () {
  const apart = (a, b) => a[2] < b[0] || a[0] > b[2] || a[3] < b[1] || a[1] > b[3];
  function inside(x, y, ring) {
    let odd = false;
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
      const a = ring[i],
        b = ring[j];
      if (a.y > y !== b.y > y && x < ((b.x - a.x) * (y - a.y)) / (b.y - a.y) + a.x) odd = !odd;
    }
    return odd;
  }
  /* Whether a line meets a box: Liang and Barsky's clipping. */
  function meets(a, b, box) {
    let from = 0,
      to = 1;
    const dx = b.x - a.x,
      dy = b.y - a.y;
    for (const [p, q] of [
      [-dx, a.x - box[0]],
      [dx, box[2] - a.x],
      [-dy, a.y - box[1]],
      [dy, box[3] - a.y],
    ]) {
      if (p === 0) {
        if (q < 0) return false;
        continue;
      }
      const r = q / p;
      if (p < 0) from = Math.max(from, r);
      else to = Math.min(to, r);
      if (from > to) return false;
    }
    return true;
  }
  const away = (at, box) =>
    Math.hypot(Math.max(box[0] - at.x, 0, at.x - box[2]), Math.max(box[1] - at.y, 0, at.y - box[3]));
  const within = (x, y, rings) => rings.filter((ring) => inside(x, y, ring)).length % 2 === 1;
  const edges = (shape, each) =>
    shape.rings.some((ring) => ring.some((point, i) => each(point, ring[(i + 1) % ring.length])));
  const middle = (box) => [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  const grown = (box, by) => [box[0] - by, box[1] - by, box[2] + by, box[3] + by];
  function touches(shape, box) {
    if (apart(shape.box, box)) return false;
    if (!shape.rings) return away(shape.at, box) <= shape.radius;
    return edges(shape, (a, b) => meets(a, b, box)) || within(...middle(box), shape.rings);
  }
  /* Whether a box lies on a shape and nowhere beside it. */
  const upon = (shape, box) =>
    within(...middle(box), shape.rings) && !edges(shape, (a, b) => meets(a, b, box));
  function toLine(x, y, a, b) {
    const dx = b.x - a.x,
      dy = b.y - a.y,
      t = ((x - a.x) * dx + (y - a.y) * dy) / (dx * dx + dy * dy || 1),
      at = Math.max(0, Math.min(1, t));
    return Math.hypot(a.x + at * dx - x, a.y + at * dy - y);
  }
  /* How far a box lies from a shape that it does not touch. */
  function gap(shape, box) {
    if (!shape.rings) return Math.max(away(shape.at, box) - shape.radius, 0);
    let least = Infinity;
    edges(shape, (a, b) => {
      least = Math.min(least, away(a, box));
      for (const x of [box[0], box[2]])
        for (const y of [box[1], box[3]]) least = Math.min(least, toLine(x, y, a, b));
      return false;
    });
    return least;
  }

  /* Things by the squares of the screen they lie in, so that a name looks only at its neighbours. */
  function squares() {
    const SIDE = 80,
      cells = new Map();
    function over([left, top, right, bottom], each) {
      for (let x = Math.floor(left / SIDE); x <= Math.floor(right / SIDE); x++)
        for (let y = Math.floor(top / SIDE); y <= Math.floor(bottom / SIDE); y++) each(x + 9999 * y);
    }
    return {
      add: (box, thing) =>
        over(box, (key) => {
          if (cells.has(key)) cells.get(key).push(thing);
          else cells.set(key, [thing]);
        }),
      some: (box, test) => {
        let found = false;
        over(box, (key) => {
          found = found || (cells.get(key) || []).some(test);
        });
        return found;
      },
    };
  }
  return { apart, touches, upon, gap, grown, squares };
})();
