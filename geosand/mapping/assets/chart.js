/* Two small drawings of one surface: depth adding up towards its target, and where its sand lies. */
geosand.chart = function (page) {
  const { make, draw, given } = geosand,
    { data } = page;
  const W = 250,
    H = 132,
    LEFT = 30,
    FOOT = 14,
    TOP = 8;

  /* A round step of 1, 2 or 5 times a power of ten, that cuts the height in at most four. */
  function stepOf(top) {
    const power = 10 ** Math.floor(Math.log10(top / 4));
    return power * [1, 2, 5, 10].find((mantissa) => mantissa * power * 4 >= top);
  }
  function text(x, y, words, css) {
    const node = draw("text", { x, y, class: css || "" });
    node.textContent = words;
    return node;
  }
  page.history = function (surface) {
    const steps = data.periods
      .map((period, at) => ({
        at,
        key: period.key,
        dressed: page.now(surface, at).dressed,
        depth: page.now(surface, at).depth_m,
      }))
      .filter(({ at }) => !page.season(at));
    if (!steps.some(({ depth }) => depth !== null)) return null;
    const whole = page.now(
      surface,
      data.periods.findIndex((_, at) => page.season(at)),
    );
    const [factor, unit] = data.units[page.units].depth;
    const sum = steps.reduce((total, { depth }) => total + (depth || 0), 0),
      target = whole.target_so_far_m;
    const top = Math.max(sum, target || 0, whole.high_m || 0) * factor || 1,
      step = stepOf(top);
    const y = (value) => H - FOOT - (value / top) * (H - FOOT - TOP);
    const svg = draw("svg", {
      viewBox: `0 0 ${W} ${H}`,
      width: W,
      height: H,
      role: "img",
      "aria-label": `Depth adding up, dressing by dressing, to ${page.show(sum, "depth", true)}${given(target) ? `; target so far ${page.show(target, "depth", true)}` : ""}`,
    });
    for (let line = step; line <= top * 1.001; line += step) {
      svg.append(
        draw("path", { d: `M${LEFT} ${y(line)}H${W}`, class: "rule" }),
        text(
          LEFT - 4,
          y(line) + 3,
          geosand.number(line, Math.max(0, -Math.floor(Math.log10(step)))),
          "end",
        ),
      );
    }
    bars(svg, steps, (value) => y(value * factor));
    svg.append(draw("path", { d: `M${LEFT} ${H - FOOT}H${W}`, class: "foot" }));
    if (given(target))
      svg.append(draw("path", { d: `M${LEFT} ${y(target * factor)}H${W}`, class: "target" }));
    return make(
      "figure",
      "",
      make("figcaption", "", `Depth adding up, ${unit}`, given(target) ? "; dashes: target so far" : ""),
      svg,
    );
  };
  function bars(svg, steps, y) {
    const wide = (W - LEFT) / Math.max(steps.length, 5),
      gap = Math.min(3, wide * 0.18),
      named = steps.length <= 9 && steps.every(({ key }) => key.length <= 4);
    const every = named ? 1 : Math.ceil(15 / wide);
    let sum = 0;
    steps.forEach(({ at, key, depth, dressed }, i) => {
      const from = sum,
        x = LEFT + i * wide + gap,
        width = wide - 2 * gap;
      sum += depth || 0;
      if (depth !== null)
        svg.append(
          draw("rect", { x, y: y(from), width, height: Math.max(y(0) - y(from), 0), class: "old" }),
          draw("rect", {
            x,
            y: y(sum),
            width,
            height: Math.max(y(from) - y(sum), 0.8),
            class: at === page.period ? "new now" : "new",
          }),
        );
      else if (dressed) svg.append(text(x + width / 2, y(from) - 3, "?", ""));
      // the last label has no room beside the edge where bars are thin
      if (i % every === 0 && x + width / 2 <= W - (named ? 0 : 6))
        svg.append(text(x + width / 2, H - 3, named ? key : String(i + 1), depth === null ? "off" : ""));
    });
  }

  /* Sand on the surface, and beside it what was thrown past its edge, to one scale. */
  page.wherebar = function (figures) {
    if (!figures.mass_kg || !figures.thrown_kg) return null;
    const on = (250 * figures.mass_kg) / (figures.mass_kg + figures.thrown_kg);
    return draw(
      "svg",
      { viewBox: "0 0 250 8", width: 250, height: 8, class: "where-bar", "aria-hidden": "true" },
      draw("rect", { width: on, height: 8, class: "landed" }),
      draw("rect", { x: on, width: 250 - on, height: 8, class: "gap" }),
    );
  };
};
