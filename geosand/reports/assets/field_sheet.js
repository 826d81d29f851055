"use strict";
// Keeps what is typed in the page's own storage, checks it, and saves it as a CSV of catches.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const key = "geosand field sheet " + data.key;
  const all = [...document.querySelectorAll("[data-all]")];
  const rows = [...document.querySelectorAll(".point")].map((box, index) => ({
    box,
    point: data.points[index],
    said: box.querySelector(".said"),
    net: box.querySelector(".net"),
    field: Object.fromEntries(
      [...box.querySelectorAll("[data-field]")].map((input) => [input.dataset.field, input])),
  }));
  const units = [...document.querySelectorAll(".unit")];
  const status = document.getElementById("status");
  const out = document.getElementById("out");

  // "" = nothing typed, NaN = no number
  const read = (input) => {
    const text = input.value.trim().replace(",", ".");
    if (text === "") return "";
    return /^\d+(\.\d*)?$|^\.\d+$/.test(text) ? Number(text) : NaN;
  };
  const chosen = (name) => all.find((input) => input.dataset.all === name);
  const GRAMS = { g: 1, oz: 28.349523125 }; // avoirdupois, exact
  const scale = () => (chosen("scale").value in GRAMS ? chosen("scale").value : data.mass_unit);
  const mass = (value) => value.toFixed(scale() === "g" ? 1 : 2);
  const median = (values) => {
    const sorted = [...values].sort((a, b) => a - b);
    const half = sorted.length >> 1;
    return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
  };
  const netOf = (row) => {
    const tare = read(row.field.tare), gross = read(row.field.gross);
    return typeof tare === "number" && typeof gross === "number" && gross >= tare ? gross - tare : NaN;
  };

  // Modified z-score with the median absolute deviation, 3.5 as limit (Iglewicz and Hoaglin 1993);
  // a spread below 5 % of the median is taken as 5 %.
  function strange(row, net, nets) {
    if (row.point.outside) return "";
    const inside = rows.map((other, k) => [other.point, nets[k], other !== row])
      .filter(([point, value, other]) => other && !point.outside && Number.isFinite(value));
    const near = inside.filter(([point]) => point.surface === row.point.surface);
    const like = inside.filter(([point]) => point.kind === row.point.kind);
    const others = (near.length >= 3 ? near : like).map(([, value]) => value);
    if (others.length < 3) return "";
    const middle = median(others);
    const spread = Math.max(1.4826 * median(others.map((v) => Math.abs(v - middle))), 0.05 * middle);
    if (Math.abs(net - middle) <= 3.5 * spread) return "";
    return `${mass(net)} ${scale()} of sand is far from the others' ${mass(middle)} ${scale()}: weigh again`;
  }

  function faults(row, nets, index) {
    const texts = [], wrong = new Set(), value = {};
    for (const name of ["tare", "gross", "volume"]) {
      value[name] = read(row.field[name]);
      if (Number.isNaN(value[name])) {
        texts.push(`${name} is not a number`);
        wrong.add(name);
      }
    }
    const { tare, gross, volume } = value;
    if (typeof gross === "number" && tare === "") {
      texts.push("gross without tare: weigh the empty tray");
      wrong.add("tare");
    }
    if (gross < tare && gross !== "" && tare !== "") {
      texts.push("gross is below tare: are the two swapped?");
      wrong.add("gross");
    }
    const stop = texts.length > 0;
    if (!stop && Number.isFinite(nets[index])) {
      const text = strange(row, nets[index], nets);
      if (text) texts.push(text);
      const density = nets[index] * GRAMS[scale()] / volume;
      if (volume > 0 && (density < 1.0 || density > 2.2)) {
        texts.push(`mass and volume make ${density.toFixed(2)} g/cm³: check both`);
      }
    }
    return { texts, wrong, stop };
  }

  function faultsOfAll() {
    const texts = [], wrong = new Set();
    const size = Object.fromEntries(
      ["length", "width", "diameter"].map((name) => [name, read(chosen(name))]));
    const rectangle = size.length > 0 && size.width > 0 && size.diameter === "";
    const round = size.diameter > 0 && size.length === "" && size.width === "";
    if (!rectangle && !round) {
      texts.push(`give the tray's length and width, or its diameter alone, in ${data.tray_unit}`);
      ["length", "width", "diameter"].forEach((name) => wrong.add(name));
    }
    const dressing = chosen("dressing").value.trim();
    if (!dressing || /^[=+\-@]/.test(dressing)) {
      texts.push("give the dressing's name, as in dressings.csv");
      wrong.add("dressing");
    }
    const volumes = rows.some((row) => row.field.volume.value.trim() !== "");
    if (volumes && !chosen("state").value) {
      texts.push("say whether the volumes are of dry, moist or tapped sand");
      wrong.add("state");
    }
    return { texts, wrong };
  }

  function mark(input, bad) {
    if (bad) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }

  function check() {
    const nets = rows.map(netOf);
    let stops = 0, done = 0;
    rows.forEach((row, index) => {
      const { texts, wrong, stop } = faults(row, nets, index);
      row.said.textContent = texts.join("; ");
      row.net.textContent = Number.isFinite(nets[index]) ? `sand ${mass(nets[index])} ${scale()}` : "";
      Object.entries(row.field).forEach(([name, input]) => mark(input, wrong.has(name)));
      stops += stop;
      done += measured(row);
    });
    units.forEach((word) => { word.textContent = scale(); });
    status.textContent = `${done} of ${rows.length} points measured`;
    return stops;
  }

  const measured = (row) =>
    row.field.gross.value.trim() !== "" || row.field.volume.value.trim() !== "";

  function keep() {
    const values = {
      all: Object.fromEntries(all.map((input) => [input.dataset.all, input.value])),
      rows: Object.fromEntries(rows.map((row) => [row.point.catch,
        Object.fromEntries(Object.entries(row.field).map(([name, input]) => [name, input.value]))])),
    };
    try {
      localStorage.setItem(key, JSON.stringify(values));
    } catch (problem) {
      status.textContent = "This browser keeps nothing: save the CSV before you close the page";
    }
  }

  function recall() {
    let values = null;
    try {
      values = JSON.parse(localStorage.getItem(key));
    } catch (problem) {
      values = null;
    }
    if (!values) return;
    all.forEach((input) => {
      const text = values.all && values.all[input.dataset.all];
      if (typeof text === "string") input.value = text;
    });
    rows.forEach((row) => {
      const kept = (values.rows && values.rows[row.point.catch]) || {};
      Object.entries(row.field).forEach(([name, input]) => {
        if (typeof kept[name] === "string") input.value = kept[name];
      });
    });
  }

  // A spreadsheet runs cells that begin so: a space before them keeps them text.
  const safe = (text) => (/^[=+\-@\t\r]/.test(text) ? " " + text : text);
  const cell = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

  // The columns stand as in the records of a new site, so that rows can be added below those there.
  function csv() {
    const round = read(chosen("diameter")) > 0;
    const columns = data.columns.filter(([base]) => base !== (round ? "tray_width" : ""))
      .map(([base, unit]) => [round && base === "tray_length" ? "tray_diameter" : base, unit]);
    const lines = rows.filter(measured).map((row) => {
      const p = row.point;
      const number = (name) => String(read(row.field[name]));
      const said = {
        ...p, dressing: chosen("dressing").value.trim(),
        edge_distance: p.outside && String(Number((p.outside / data.edge_unit_m).toFixed(4))),
        tare: number("tare"), gross: number("gross"), volume: number("volume"),
        volume_state: number("volume") && chosen("state").value,
        note: safe(row.field.note.value.trim().replace(/\s+/g, " ")),
      };
      ["length", "width", "diameter"].forEach((name) => { said[`tray_${name}`] = String(read(chosen(name))); });
      return columns.map(([base]) => said[base] || "");
    });
    const head = columns.map(([base, unit]) => base
      + (base === "tare" || base === "gross" ? `_${scale()}` : unit && `_${unit}`));
    return [head, ...lines].map((line) => line.map(cell).join(",") + "\r\n").join("");
  }

  function save() {
    const whole = faultsOfAll();
    all.forEach((input) => mark(input, whole.wrong.has(input.dataset.all)));
    const stops = check();
    if (!rows.some(measured)) whole.texts.push("nothing was measured yet");
    if (stops) whole.texts.push(stops === 1 ? "1 point has a figure that can not be" : `${stops} points have figures that can not be`);
    if (whole.texts.length) {
      status.textContent = "Not saved: " + whole.texts.join("; ");
      return;
    }
    const text = csv();
    out.value = text;
    out.parentElement.hidden = false;
    const link = document.createElement("a");
    const name = chosen("dressing").value.trim().replace(/[^\w.-]+/g, "_");
    link.download = `catches-${name}.csv`;
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    status.textContent = `Saved ${rows.filter(measured).length} catches as ${link.download}`;
  }

  let asked = false;
  function clear() {
    if (!asked) {
      asked = true;
      status.textContent = "Press again to clear all values of all points";
      return;
    }
    asked = false;
    rows.forEach((row) => Object.values(row.field).forEach((input) => { input.value = ""; }));
    keep();
    check();
  }

  recall();
  check();
  keep(); // tells at once where nothing can be kept
  document.addEventListener("input", (event) => {
    asked = false;
    mark(event.target, false);
    check();
    keep();
  });
  document.getElementById("save").addEventListener("click", save);
  document.getElementById("clear").addEventListener("click", clear);
  document.addEventListener("click", (event) => {
    if (event.target.id !== "clear") asked = false; // only two presses in a row clear
  });
  document.body.dataset.ready = "";
})();
