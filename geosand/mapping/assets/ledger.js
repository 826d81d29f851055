/* The table of surfaces: the same figures as the map, to search, filter and sort. */
geosand.ledger = function (page) {
  const { make, given, signed, percent, likely, byId, NONE } = geosand,
    { surfaces } = page;
  const MANY = 90,
    FIRST = 60; // a longer table shows its first rows, and the others on request
  const table = document.querySelector(".ledger table"),
    body = table.tBodies[0];
  const columns = [...table.tHead.rows[0].cells],
    keys = columns.map((cell) => cell.dataset.c || "name");
  let rows = [...body.rows],
    whole = rows.length <= MANY,
    sorted = null;
  const surfaceOf = (row) => surfaces[Number(row.dataset.s)];
  rows.forEach((row) => {
    surfaceOf(row).row = row;
  });
  page.table = table;
  page.columns = columns;

  /* ---- cells: what is written, and what is sorted by ---- */
  const ring = (surface, zone) => page.ringNow(page.bandOf(surface, zone));
  const shown = (value, quantity) => [page.show(value, quantity), value];
  const cells = {
    name: (s) => [s.name, s.name],
    kind: (s) => [s.kind, s.kind],
    area: (s) => shown(s.area, "area"),
    u_area: (s) => shown(s.uArea, "area"),
    mass: (s, f) => [page.soFar(f, page.show(f.mass_kg, "mass")), f.mass_kg],
    depth: (s, f) => [page.soFar(f, page.show(f.depth_m, "depth")), f.depth_m],
    range: (s, f) => [page.between(f.low_m, f.high_m, "depth"), f.low_m === null ? null : f.high_m - f.low_m],
    target: (s, f) => shown(f.target_so_far_m, "depth"),
    shortfall: (s, f) => shown(f.shortfall_m, "depth"),
    state: (s, f) => [
      f.state === null ? NONE : f.state + (f.probability === null ? "" : " " + likely(f.probability)),
      f.state,
    ],
    catches: (s, f) => [
      f.basis === null ? NONE : page.estimated(f) ? "estimated" : String(f.catches),
      f.basis === null ? null : f.catches,
    ],
    residuals: (s) => {
      const [low, high] = page.residuals(s);
      return [
        low === null
          ? NONE
          : low === high
            ? signed(100 * low)
            : `${signed(100 * low)} to ${signed(100 * high)}`,
        low === null ? null : Math.max(-low, high),
      ];
    },
    collar_depth: (s) => shown(ring(s, "collar").depth, "depth"),
    collar_mass: (s) => shown(ring(s, "collar").mass, "mass"),
    surrounds_depth: (s) => shown(ring(s, "surrounds").depth, "depth"),
    surrounds_mass: (s) => shown(ring(s, "surrounds").mass, "mass"),
    thrown: (s, f) => shown(f.thrown_kg, "mass"),
    share: (s) => [percent(page.share(s)), page.share(s)],
  };
  const TEXTS = ["name", "kind", "state"];
  const cell = (key, surface) => cells[key](surface, page.now(surface));

  function fillRow(row) {
    const surface = surfaceOf(row),
      name = row.cells[0],
      flag = name.querySelector(".flag"),
      under = page.under(page.now(surface));
    keys.forEach((key, i) => {
      if (!i) return;
      const [text] = cell(key, surface);
      if (row.cells[i].textContent !== text) row.cells[i].textContent = text;
    });
    if (under && !flag) {
      const sign = make("span", "flag", "▼");
      sign.setAttribute("role", "img");
      sign.setAttribute("aria-label", "under-dressed");
      name.append(sign);
    } else if (!under && flag) flag.remove();
    row.dataset.filled = stamp();
  }
  /* Rows out of sight are written when they come into sight. */
  const stamp = () => page.period + page.units;
  page.fillTable = function () {
    columns.forEach((head) =>
      head.querySelectorAll("[data-unit]").forEach((node) => {
        if (node.dataset.unit !== "percent") node.textContent = page.unitOf(node.dataset.unit);
      }),
    );
    if (sorted) sort(sorted.index, sorted.down);
  };

  /* ---- order ---- */
  const compareText = new Intl.Collator("en", { numeric: true, sensitivity: "base" }).compare;
  function sort(index, down) {
    sorted = { index, down };
    const value = new Map(rows.map((row) => [row, cell(keys[index], surfaceOf(row))[1]]));
    // Rows without a figure stay last, whichever way the others are sorted.
    rows = rows.slice().sort((a, b) => {
      const x = value.get(a),
        y = value.get(b);
      if (!given(x) || !given(y)) return given(y) - given(x) || a.dataset.s - b.dataset.s;
      const by = typeof x === "string" ? compareText(x, y) : x - y;
      return (down ? -by : by) || a.dataset.s - b.dataset.s;
    });
    body.append(...rows);
    columns.forEach((head, i) => {
      if (i === index) head.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    });
  }
  columns.forEach((head, index) =>
    head.firstElementChild.addEventListener("click", () => {
      sort(index, sorted && sorted.index === index ? !sorted.down : !TEXTS.includes(keys[index]));
      page.fitRows();
      page.say(`Sorted by ${head.textContent}, ${sorted.down ? "descending" : "ascending"}`);
    }),
  );

  /* ---- what is in sight: what fits the search and the view, up to the first sixty ---- */
  const fold = (text) =>
    text
      .normalize("NFD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase();
  page.filter = function () {
    const wanted = fold(byId("gs-search").value.trim()),
      kind = byId("gs-kind").value,
      state = byId("gs-state").value;
    surfaces.forEach((s) => {
      s.faded = Boolean(
        (wanted && !fold(s.name + " " + s.id).includes(wanted)) ||
        (kind && s.kind !== kind) ||
        (state && page.now(s).state !== state),
      );
    });
  };
  page.fitRows = function (everyRow) {
    const now = stamp();
    let count = 0;
    rows.forEach((row) => {
      const surface = surfaceOf(row),
        fits = !surface.faded && (surface.active || page.theme === "areas");
      count += fits;
      const hidden = !fits || !(whole || everyRow || count <= FIRST || surface.index === page.chosen);
      if (row.hidden !== hidden) row.hidden = hidden;
      if (!hidden && row.dataset.filled !== now) fillRow(row);
    });
    const more = byId("gs-more");
    byId("gs-nothing").hidden = count > 0;
    more.hidden = whole || count <= FIRST;
    more.textContent = `Show all ${count} surfaces`;
    return count;
  };
  byId("gs-more").addEventListener("click", () => {
    whole = true;
    page.fitRows();
    rows.filter((row) => !row.hidden)[FIRST].querySelector("button").focus();
  });
  page.markRow = function (index) {
    body.querySelectorAll("[aria-current]").forEach((row) => row.removeAttribute("aria-current"));
    const surface = surfaces[index];
    if (!surface || !surface.row) return;
    if (surface.row.hidden && !surface.faded && (surface.active || page.theme === "areas")) {
      surface.row.hidden = false;
      fillRow(surface.row);
    }
    surface.row.setAttribute("aria-current", "true");
    if (!surface.row.hidden && matchMedia("(min-width: 56.25em)").matches)
      surface.row.scrollIntoView({ block: "nearest" });
  };
};
