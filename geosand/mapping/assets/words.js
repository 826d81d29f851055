/* The sand map, part by part. Every text from the data is set as text, never as markup. */
var geosand = {};
document.documentElement.classList.remove("still");

geosand.NONE = "–";
geosand.byId = (id) => document.getElementById(id);
geosand.given = (value) => value !== null && value !== undefined;

/* An element with a class and what stands in it; empty parts are left out. */
geosand.make = function (tag, css, ...inside) {
  const node = document.createElement(tag);
  if (css) node.className = css;
  node.append(...inside.filter((part) => geosand.given(part) && part !== ""));
  return node;
};

geosand.draw = function (tag, attributes, ...inside) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const key in attributes) node.setAttribute(key, attributes[key]);
  node.append(...inside);
  return node;
};

/* A figure with a narrow space at the thousands and a true minus sign; an en dash for none. */
geosand.number = function (value, decimals) {
  if (!geosand.given(value) || !isFinite(value)) return geosand.NONE;
  const text = Math.abs(value).toFixed(decimals);
  const grouped = text.replace(/^\d+/, (whole) => whole.replace(/\B(?=(\d{3})+$)/g, "\u202f"));
  return (value < 0 && Number(text) !== 0 ? "−" : "") + grouped;
};

geosand.signed = function (value) {
  const text = geosand.number(value, 0);
  return text[0] === "−" || text === "0" ? text : "+" + text;
};

geosand.percent = function (share) {
  if (!geosand.given(share)) return geosand.NONE;
  return geosand.number(100 * share, Math.abs(share) < 0.0995 ? 1 : 0) + "\u00a0%";
};

/* A probability never reads as certainty. */
geosand.likely = (share) => (share > 0.99 ? ">\u00a099\u00a0%" : geosand.percent(share));

geosand.plural = (count, word) =>
  `${count} ${word}${count === 1 ? "" : word.endsWith("ch") || word.endsWith("ss") ? "es" : "s"}`;
