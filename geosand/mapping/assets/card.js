/* What the card of a surface or of a catch says, and the one line that follows the mouse. */
geosand.card = function (page) {
  const { make, given, number, signed, percent, likely, plural, NONE } = geosand,
    { surfaces } = page;

  function rows(list) {
    const body = make("tbody");
    list.filter(Boolean).forEach(([name, value, note, long]) => {
      const head = make("th", "", name),
        both = make("td", "", value, make("span", "more", note || "")); // a long value widens no column
      head.scope = "row";
      both.colSpan = 2;
      if (long) body.append(make("tr", "", head, both));
      else body.append(make("tr", "", head, make("td", "", value), make("td", "more", note || "")));
    });
    return make("table", "", body);
  }
  const limits = (low, high, quantity) => {
    const range = page.between(low, high, quantity);
    return range === NONE ? "" : "95\u00a0%\u00a0" + range;
  };

  /* ---- a surface: kilograms and their interval first ---- */
  function lead(surface, f) {
    const line = make("p", "lead");
    if (f.mass_kg === null) line.append(f.dressed ? "Not measured" : "Not dressed in this period");
    else {
      const range = limits(f.mass_low_kg, f.mass_high_kg, "mass");
      line.append(
        make("b", "", page.soFar(f, page.show(f.mass_kg, "mass"))),
        " " + page.unitOf("mass") + " of sand",
        range ? make("span", "", range) : "",
      );
    }
    return line;
  }
  function thrown(surface, f) {
    if (f.thrown_kg === null) return null;
    const share = page.share(surface),
      of = share === null ? "" : `, ${percent(share)} of all overthrow`;
    return make("p", "thrown", make("b", "", page.show(f.thrown_kg, "mass", true)), " past its edge" + of);
  }
  /* Least and most depth of its cells, and how well each is known. */
  function across(surface) {
    const field = page.field(surface);
    if (!field) return null;
    const range = (column) => {
      const values = column.filter(given);
      return page.between(Math.min(...values), Math.max(...values), "depth");
    };
    const side = page.show(field.cell, "length", true).replace(/\.?0+(?=\D)/, "");
    return [
      "Across it",
      `${range(field.depth)}\u00a0${page.unitOf("depth")}`,
      `each ${side} cell ± ${range(field.u)}`,
      true,
    ];
  }
  function here(surface) {
    const cell = page.spot && page.cellAt(surface, page.spot);
    return cell ? ["Here", page.show(cell[0], "depth", true), "± " + page.show(cell[1], "depth")] : null;
  }
  function figures(surface, f) {
    const ring = (zone, name) => {
      const { depth, mass } = page.ringNow(page.bandOf(surface, zone));
      return depth === null
        ? null
        : [name, page.show(depth, "depth", true), mass === null ? "" : page.show(mass, "mass", true)];
    };
    const [low, high] = page.residuals(surface),
      { passes } = surface;
    const spread =
      low === null
        ? page.estimated(f)
          ? "estimated"
          : "its own"
        : low === high
          ? `${signed(100 * low)}\u00a0% off`
          : `${signed(100 * low)} to ${signed(100 * high)}\u00a0%`;
    return rows([
      f.depth_m === null
        ? null
        : ["Depth", page.soFar(f, page.show(f.depth_m, "depth", true)), limits(f.low_m, f.high_m, "depth")],
      f.in_holes_m === null ? null : ["In holes", page.show(f.in_holes_m, "depth", true), "of the depth"],
      across(surface),
      here(surface),
      f.target_so_far_m === null
        ? null
        : [
            page.season() ? "Target so far" : "Planned",
            page.show(f.target_so_far_m, "depth", true),
            given(surface.target) ? "season " + page.show(surface.target, "depth") : "",
          ],
      f.shortfall_m === null
        ? null
        : ["Shortfall", page.show(f.shortfall_m, "depth", true), f.shortfall_m < 0 ? "ahead" : ""],
      f.state === null
        ? null
        : [
            "State",
            (page.under(f) ? "▼ " : "") + f.state,
            f.probability === null ? "" : likely(f.probability) + " likely",
            true,
          ],
      f.basis === null
        ? null
        : ["Stands on", page.estimated(f) ? "other surfaces" : plural(f.catches, "catch"), spread],
      ring("collar", "Collar"),
      ring("surrounds", "Surrounds"),
      passes
        ? [
            "Drive at",
            number(passes.heading, 0) + "°",
            plural(passes.lines.length, "pass") + ", next dressing",
            true,
          ]
        : null,
      [
        "Area",
        page.show(surface.area, "area", true),
        given(surface.uArea) ? "± " + page.show(surface.uArea, "area") : "",
      ],
    ]);
  }
  /* Its catches, one line each, folded away. */
  function caughtThere(surface) {
    const list = page.caught(surface);
    if (!list.length) return null;
    const body = make("tbody");
    list.forEach((caught) =>
      body.append(
        make(
          "tr",
          "",
          make("td", "", caught.id),
          make("td", "", page.show(caught.depth, "depth", true)),
          make("td", "more", given(caught.residual) ? sided(caught.residual) : ""),
        ),
      ),
    );
    const scroll = make("div", "caught", make("table", "", body));
    scroll.tabIndex = 0;
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-label", "Catches on " + surface.name);
    return make("details", "", make("summary", "", plural(list.length, "catch") + " one by one"), scroll);
  }
  const sided = (residual) => (residual < 0 ? "▼ " : "▲ ") + signed(100 * residual) + "\u00a0%";

  page.describe = function (surface) {
    const f = page.now(surface),
      title = make("h2", "", surface.name),
      text = make("div", "figures");
    title.dir = "auto";
    // findings name surfaces by id, as records do
    const id = surface.id === surface.name ? [] : [surface.id];
    text.append(title, make("p", "what", [surface.kind, ...id, page.periodAt().label].join(" · ")));
    const past = thrown(surface, f),
      bar = page.wherebar(f);
    if (surface.active) text.append(...[lead(surface, f), bar, past].filter(Boolean));
    text.append(figures(surface, f));
    const side = [page.history(surface), caughtThere(surface)].filter(Boolean);
    const card = make("div", "card", text);
    card.setAttribute("role", "group");
    card.setAttribute("aria-label", surface.name);
    if (side.length) {
      card.append(make("div", "aside", ...side));
      card.classList.add("wide");
    }
    return card;
  };
  page.describeCatch = function (caught) {
    const at = surfaces[caught.surface],
      day = caught.period >= 0 ? page.periodAt(caught.period).label : "";
    const off =
      given(caught.residual) && at && caught.period >= 0 ? page.now(at, caught.period).depth_m : null;
    const title = make("h2", "", "Catch " + caught.id);
    title.dir = "auto";
    return make(
      "div",
      "card",
      title,
      make("p", "what", [day, at ? at.name : "on no surface"].filter(Boolean).join(" · ")),
      rows([
        ["Depth", page.show(caught.depth, "depth", true)],
        ["Rate", page.show(caught.rate, "rate", true)],
        given(caught.residual)
          ? [
              "Against surface",
              sided(caught.residual),
              off !== null && given(caught.depth) ? page.show(caught.depth - off, "depth", true) : "",
            ]
          : null,
        off !== null ? ["Surface", page.show(off, "depth", true), "estimate that day"] : null,
        caught.used ? null : ["Set aside", "not used"],
      ]),
      caught.note ? make("p", "note", caught.note) : "",
    );
  };

  /* ---- one line, for the mouse and for screen readers ---- */
  page.summary = function (surface) {
    const f = page.now(surface),
      { theme } = page,
      { name } = surface;
    if (theme === "areas" || !surface.active)
      return `${name}, ${surface.kind}: ${page.show(surface.area, "area", true)}`;
    const none = f.dressed ? "not measured" : "not dressed in this period";
    if (theme === "shortfall" && f.shortfall_m !== null)
      return `${name}: shortfall ${page.show(f.shortfall_m, "depth", true)}${f.state ? ", " + f.state : ""}`;
    if (theme === "catches")
      return `${name}: ${page.estimated(f) ? "no catch, estimated" : plural(page.caught(surface).length, "catch")}`;
    if (theme === "overthrow") {
      const zones = ["collar", "surrounds"].map((zone) => [zone, page.ringNow(page.bandOf(surface, zone)).depth]);
      const told = zones.filter(([, depth]) => given(depth)).map(([zone, depth]) => `${zone} ${page.show(depth, "depth", true)}`);
      return `${name}: ${told.join(", ") || "no sand known past its edge"}`;
    }
    if (f.depth_m === null) return `${name}: ${none}`;
    const depth = page.soFar(f, page.show(f.depth_m, "depth", true));
    if (theme === "shortfall")
      return `${name}: ${depth}, ${f.target_so_far_m === null ? "no target" : "shortfall not known"}`;
    return `${name}: ${depth}${page.estimated(f) ? ", estimated" : ""}`;
  };
  page.catchSummary = (caught) =>
    `Catch ${caught.id}: ${page.show(caught.depth, "depth", true)}${given(caught.residual) ? ", " + sided(caught.residual) : ""}${caught.used ? "" : ", set aside"}`;
};
