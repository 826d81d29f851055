/* The balance of the period that is shown: words, figures and a bar. */
geosand.account = function (page) {
  const { make, draw, given, number } = geosand;
  const whole = document.querySelector(".account > div");
  const systems = Object.keys(page.data.units);

  /* Spread, on surfaces and overthrow as three figures with their uncertainty. */
  function figures(b) {
    const range = (low, high) => "95\u00a0% " + page.between(low, high, "mass");
    const share = given(b.fraction) ? ` · ${number(100 * b.fraction, 0)}\u00a0%` : "";
    const cells = [
      ["Spread", b.spread_kg, given(b.u_spread_kg) ? "± " + page.show(b.u_spread_kg, "mass") : ""],
      ["On surfaces", b.on_surfaces_kg, range(b.on_surfaces_low_kg, b.on_surfaces_high_kg)],
      ["Overthrow", b.overthrow_kg, range(b.overthrow_low_kg, b.overthrow_high_kg) + share],
    ];
    const list = cells.map(([name, value, note]) =>
      make(
        "div",
        "",
        make("dt", "", name),
        make(
          "dd",
          "",
          make("b", "", page.show(value, "mass")),
          " " + page.unitOf("mass"),
          make("span", "", note),
        ),
      ),
    );
    return make("dl", "", ...list);
  }
  /* Spread against landed as one bar: the gap is overthrow, an excess runs past the mark. */
  function bar(b) {
    const or = (value, other) => (given(value) ? value : other),
      [spread, caught] = [b.spread_kg, b.on_surfaces_kg];
    const ends = [spread, caught, or(b.on_surfaces_low_kg, caught), or(b.on_surfaces_high_kg, caught)];
    const most = Math.max(spread, caught, ends[3]) || 1;
    const [out, on, low, high] = ends.map((kg) => Number(((400 * Math.max(kg, 0)) / most).toFixed(1)));
    const label = `On surfaces ${page.show(caught, "mass")} of ${page.show(spread, "mass", true)} spread`;
    const gap = Math.max(out - on, 0).toFixed(1);
    return draw(
      "svg",
      { class: "bar", viewBox: "-3 0 406 26", role: "img", "aria-label": label },
      draw("rect", { class: "landed", y: 6, width: on, height: 14 }),
      draw("rect", { class: "gap", x: on, y: 6, width: gap, height: 14 }),
      draw("path", { class: "whisker", d: `M${low} 13H${high}M${low} 9v8M${high} 9v8` }),
      draw("path", { class: "mark", d: `M${out} 1v24` }),
    );
  }
  function where(b) {
    const zones = [
      ["collar", b.collar_kg],
      ["surrounds", b.surrounds_kg],
      ["farther", b.farther_kg],
    ]
      .filter(([, value]) => given(value))
      .map(([name, value]) => `${name} ${page.show(value, "mass", true)}`);
    const length = (value) => page.show(value, "length", true);
    const parts = b.verdict === "does not close", // as a whole it threw none over
      head = parts ? "Where its parts threw sand over" : "If all of it landed beside the edges";
    const told = [
      zones.length ? `${head}: ${zones.join(", ")}.` : "",
      given(b.strip_width_m) ? `As much as a strip ${length(b.strip_width_m)} wide at full rate.` : "",
      given(b.reach_m) ? `Reach ${length(b.reach_m)}.` : "",
      b.doubt ? "Not told from zero." : "",
    ].filter(Boolean);
    return told.length ? make("p", "where", told.join(" ")) : "";
  }
  function body(b) {
    const dressed = page.surfaces.map((surface) => page.now(surface)).filter((now) => now.dressed);
    if (!b && page.season() && dressed.every((now) => now.depth_m === 0)) return [];
    if (b && given(b.spread_kg) && given(b.on_surfaces_kg)) return [figures(b), bar(b), where(b)];
    const told =
      b && given(b.spread_kg)
        ? `Spread ${page.show(b.spread_kg, "mass", true)}; not measured where it landed.`
        : page.season() && "Not measured: no balance without both loads and catches.";
    return told ? [make("p", "unmeasured", told)] : [];
  }
  page.account = function () {
    if (!whole) return;
    const b = page.balance(),
      { label, headline } = page.periodAt(),
      said = headline[systems.indexOf(page.units)];
    const title = make("h2", "", label, b && b.verdict ? " " : "", b && b.verdict ? make("b", "verdict", b.verdict) : "");
    whole.replaceChildren(
      ...[title, said && make("p", "headline", said), ...body(b)].filter(Boolean),
    );
  };
};
