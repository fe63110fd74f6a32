// Making elements. Nothing here ever reads markup from a text: what people wrote stays text.
const SVG = "http://www.w3.org/2000/svg";
const SHAPES = {
  good: [["circle", { cx: 8, cy: 8, r: 6.5 }], ["path", { class: "cut", d: "M4.8 8.3l2.2 2.3 4.3-4.9" }]],
  watch: [["path", { d: "M8 1.2 15.4 14.4H.6z" }], ["path", { class: "cut", d: "M8 6v4.2M8 12v.6" }]],
  bad: [["path", { d: "M5 1h6l4 4v6l-4 4H5l-4-4V5z" }], ["path", { class: "cut", d: "M8 4.2v4.8M8 11v.8" }]],
  danger: [["path", { d: "M9.4.8 2.6 9h4.2l-1 6.2L13.4 6.6H9z" }]],
  unsure: [["path", { class: "line", d: "M8 1.4 14.6 8 8 14.6 1.4 8z" }]],
  idle: [["rect", { class: "line", x: 2, y: 2, width: 12, height: 12, rx: 1.5 }]],
  plain: [["circle", { class: "line", cx: 8, cy: 8, r: 6 }]],
  info: [["circle", { cx: 8, cy: 8, r: 6.5 }], ["path", { class: "cut", d: "M8 7.2v4.2M8 4.4v.6" }]],
  up: [["path", { d: "M8 1 15 14H1z" }]],
  down: [["path", { d: "M8 15 1 2h14z" }]],
};

export function h(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made && typeof value !== "string" && name !== "list") made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export function svg(tag, given, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(given)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

export function shape(tone) {
  return svg("svg", { class: "shape", viewBox: "0 0 16 16", width: 16, height: 16, "aria-hidden": "true" },
    ...(SHAPES[tone] || SHAPES.plain).map(([tag, given]) => svg(tag, given)));
}

export const badge = (words, tone) => h("span", { class: `badge badge-${tone}` }, shape(tone), words);

export function notice(tone, ...children) {
  return h("div", { class: `notice notice-${tone}`, role: tone === "bad" || tone === "watch" ? "alert" : "status" },
    shape(tone), h("div", {}, ...children));
}

export const p = (...children) => h("p", {}, ...children);
export const button = (words, press, more = {}) => h("button", { type: "button", class: "button", onclick: press, ...more }, words);
export const link = (words, to, more = {}) => h("a", { class: "button", href: to, ...more }, words);

export function facts(...pairs) {
  return h("dl", { class: "facts" },
    pairs.filter((pair) => pair && pair[1]).flatMap(([what, value]) => [h("dt", {}, what), h("dd", {}, value)]));
}
