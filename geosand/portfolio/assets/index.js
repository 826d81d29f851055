"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const at = Object.fromEntries(data.fields.map((name, k) => [name, k]));
  const LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";
  const PER_PAGE = 50;
  const SVG = "http://www.w3.org/2000/svg";
  const body = document.getElementById("list");
  if (!body) return;
  const find = document.getElementById("find");
  const which = document.getElementById("which");
  const heads = [...document.querySelectorAll(".list thead button")];
  const ON_PAPER = 500;
  let key = "", down = false, first = 0, shown = [];

  const broken = (row) => row[at.status] !== "worked out";
  const unmeasured = (row) => row[at.dressings] - row[at.measured];
  const tests = {
    all: () => true,
    not_closing: (row) => row[at.not_closing] > 0,
    under_dressed: (row) => row[at.under_dressed] > 0,
    thrown_over: (row) => row[at.thrown_over] > 0,
    unmeasured: (row) => unmeasured(row) > 0,
    refused: broken,
  };

  function figure(value, factor, decimals) {
    if (value === null) return "–";
    const [whole, part] = Math.abs(value * factor).toFixed(decimals).split(".");
    const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
    const text = part ? `${grouped}.${part}` : grouped;
    return value < 0 && /[1-9]/.test(text) ? `−${text}` : text;
  }

  function cell(row, text, kind) {
    const made = document.createElement("td");
    made.textContent = text;
    if (kind) made.className = kind;
    row.append(made);
    return made;
  }

  function cellWithU(row, value, u, factor, decimals, kind) {
    const made = cell(row, figure(value, factor, decimals), kind);
    if (value === null || u === null) return;
    const beside = document.createElement("span");
    beside.className = "wide-only";
    beside.textContent = ` ± ${figure(u, factor, decimals)}`;
    made.append(beside);
  }

  function small(below, text) {
    if (!text) return;
    const made = document.createElement("small");
    made.textContent = text;
    below.append(made);
  }

  function sketch(letters) {
    const drawing = document.createElementNS(SVG, "svg");
    let from = 0, to = 64; // the middles of dots lie in this; large ones reach beyond
    drawing.setAttribute("class", "sketch");
    drawing.setAttribute("aria-hidden", "true");
    for (let k = 0; k + 3 < letters.length; k += 4) {
      const [x, y, r, state] = [0, 1, 2, 3].map((n) => LETTERS.indexOf(letters[k + n]));
      const dot = document.createElementNS(SVG, "circle");
      dot.setAttribute("cx", String(x));
      dot.setAttribute("cy", String(y));
      const radius = Math.max(r / 4, state ? 2.2 : 1);
      dot.setAttribute("r", String(radius));
      from = Math.min(from, x - radius, y - radius);
      to = Math.max(to, x + radius, y + radius);
      dot.setAttribute("class", `s${state & 3}`);
      drawing.append(dot);
    }
    drawing.setAttribute("viewBox", `${from} ${from} ${to - from} ${to - from}`);
    return drawing;
  }

  function line(index) {
    const site = data.sites[index], row = document.createElement("tr");
    cell(row, "", "wide-only").append(sketch(site[at.sketch]));
    const named = cell(row, "", "");
    const map = data.maps[index];
    const name = document.createElement(map ? "a" : "span");
    if (map) name.setAttribute("href", map);
    name.textContent = site[at.name];
    named.append(name);
    if (site[at.site] !== site[at.name]) small(named, site[at.site]);
    if (broken(site)) {
      const why = cell(row, `${site[at.status]}: `, "bad"), below = document.createElement("a");
      below.setAttribute("href", "#refused");
      below.textContent = "see below";
      why.append(below);
      why.setAttribute("colspan", "7");
      return row;
    }
    const [length, , places] = data.length, [depth, , digits] = data.depth;
    cellWithU(row, site[at.fraction], site[at.u_fraction], 100, 1, "number");
    const strip = site[at.strip_width_m];
    cellWithU(row, strip, site[at.u_strip_width_m], length, places, "number wide-only");
    cell(row, site[at.spreaders], "wide-only");
    const open = site[at.not_closing], none = unmeasured(site) && !site[at.measured];
    const told = none ? "not measured" : `${open} of ${site[at.measured]}`;
    cell(row, told, open || none ? "number bad" : "number");
    const turf = data.states.reduce((sum, state) => sum + site[at[state]], 0);
    const under = site[at.under_dressed], unknown = site[at.depth_not_known];
    const behindOf = unknown && unknown === turf ? "–" : `${under} of ${turf}`;
    small(cell(row, behindOf, under ? "number bad" : "number"), unknown && `${unknown} not known`);
    const short = site[at.largest_shortfall_mm];
    const behind = short === null ? "–" : figure(short / 1000, depth, digits);
    small(cell(row, behind, "number wide-only"), short !== null && site[at.furthest_behind]);
    cell(row, String(site[at.findings]), "number wide-only");
    return row;
  }

  function pressing(a, b) {
    return (broken(b) - broken(a)) || (b[at.not_closing] - a[at.not_closing])
      || (b[at.under_dressed] - a[at.under_dressed]) || (unmeasured(b) - unmeasured(a));
  }

  function compared(a, b) {
    const [x, y] = [a[at[key]], b[at[key]]];
    if (x === null || y === null || x === "" || y === "") {
      return (x === null || x === "") - (y === null || y === "");
    }
    const order = typeof x === "string" ? x.localeCompare(y, "en", { numeric: true }) : x - y;
    return down ? -order : order;
  }

  function choose() {
    const words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
    const wanted = tests[which.value] || tests.all;
    shown = data.sites.map((_, k) => k).filter((k) => {
      const site = data.sites[k];
      const text = `${site[at.name]} ${site[at.site]} ${site[at.spreaders]}`.toLowerCase();
      return wanted(site) && words.every((word) => text.includes(word));
    });
    const order = key ? compared : pressing;
    shown.sort((a, b) => order(data.sites[a], data.sites[b]));
    first = 0;
    draw();
  }

  function draw(most = PER_PAGE) {
    body.replaceChildren(...shown.slice(first, first + most).map(line));
    for (const head of heads) {
      const mine = head.dataset.key === key;
      const cellOf = head.closest("th");
      if (mine) cellOf.setAttribute("aria-sort", down ? "descending" : "ascending");
      else cellOf.removeAttribute("aria-sort");
    }
    const count = shown.length, last = Math.min(first + most, count);
    document.getElementById("told").textContent =
      `${figure(count, 1, 0)} of ${figure(data.sites.length, 1, 0)} ${data.sites.length === 1 ? "site" : "sites"}`;
    document.getElementById("page").textContent = count ? `${figure(first + 1, 1, 0)} to ${figure(last, 1, 0)}` : "none";
    document.getElementById("before").disabled = first === 0;
    document.getElementById("after").disabled = last >= count;
    document.querySelector(".pages").hidden = count <= PER_PAGE;
  }

  for (const head of heads) {
    head.addEventListener("click", () => {
      const same = key === head.dataset.key;
      // figures: the largest first, names: from a on
      down = same ? !down : !["name", "spreaders"].includes(head.dataset.key);
      key = head.dataset.key;
      choose();
    });
  }
  find.addEventListener("input", choose);
  which.addEventListener("change", choose);
  document.getElementById("plain").addEventListener("click", () => { key = ""; choose(); });
  document.getElementById("before").addEventListener("click", () => { first -= PER_PAGE; draw(); });
  document.getElementById("after").addEventListener("click", () => { first += PER_PAGE; draw(); });
  // A heading row that is repeated prints no buttons, so their words stand in the cells meanwhile.
  const bare = new Map(heads.map((head) => [head, head.closest("th")]));
  const worded = (paper) => bare.forEach((cellOf, head) => {
    if (paper) cellOf.append(...head.childNodes);
    else head.append(...[...cellOf.childNodes].filter((node) => node !== head));
    head.hidden = paper;
  });
  addEventListener("beforeprint", () => { first = 0; draw(ON_PAPER); worded(true); });
  addEventListener("afterprint", () => { worded(false); draw(); });
  choose();
})();
