// The screens' texts in the person's language, and numbers as the person likes to read them.
let words = {};
let person = {};
let marks = "en", numbers = {};

export function speak(found, who) {
  words = { ...words, ...found };
  if (who) {
    person = who;
    document.documentElement.lang = who.language || "en";
    [marks, numbers] = [who.language === "fr" ? "fr" : "en", {}];
    if (who.theme) document.documentElement.dataset.theme = who.theme;
  }
}

export function t(key, values = {}) {
  const found = words[key] ?? key;
  return found.replace(/\{(\w+)\}/g, (all, name) => (name in values ? String(values[name]) : all));
}

export function figure(value, digits = 1) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  numbers[digits] ??= new Intl.NumberFormat(marks, { maximumFractionDigits: digits });
  return numbers[digits].format(Number(value.toFixed(digits)));
}
export const percent = (share) => `${figure(100 * share, 0)} %`;

// Units as the person likes. What is kept is the text as it was typed, with its unit behind where that is not the house's
// own ("72.3 ft"): every reader of it, here and on the server, makes metres and litres a minute of it.
const LIKED = {
  m: { unit: "ft", size: 0.3048, digits: 1, liked: () => person.length_unit === "ft" },
  "L/min": { unit: "m³/h", size: 1 / 0.06, digits: 2, liked: () => person.flow_unit === "m3_h" },
};
const SIZES = { m: 1, ft: 0.3048, "l/min": 1, "m³/h": 1 / 0.06, "m3/h": 1 / 0.06 };

// How a quantity of the house's unit is shown to this person: its unit, and how much of the house's one of it is.
export function liked(unit) {
  const other = LIKED[unit];
  return other?.liked() ? other : { unit, size: 1, digits: 1 };
}

// What is kept of a text that was typed beside the unit as shown.
export function typedIn(text, unit) {
  const { unit: shown } = liked(unit);
  return shown === unit || !String(text).trim() ? text : `${String(text).trim()} ${shown}`;
}

const BEHIND = /\s*(ft|m|L\/min|m[³3]\/h)$/i;

// What stands in the field for a text that was kept: as it was typed, or turned into the unit the person likes now.
export function shownIn(kept, unit) {
  const text = String(kept ?? ""), { unit: shown, size, digits } = liked(unit);
  const was = text.match(BEHIND)?.[1].toLowerCase() ?? unit?.toLowerCase();
  if (was === shown?.toLowerCase()) return text.replace(BEHIND, "");
  const value = read(text);
  return value === null || Number.isNaN(value) ? text : String(+(value / size).toFixed(digits + 1));
}

// A value of the house's unit as text to keep, in the unit the person likes.
export function asTyped(value, unit, digits) {
  const found = liked(unit);
  return typedIn(String(+(value / found.size).toFixed(digits ?? found.digits + 1)), unit);
}

function quantity(value, unit, digits) {
  if (value === null || value === undefined) return "–";
  const found = liked(unit);
  return `${figure(value / found.size, digits ?? found.digits)} ${found.unit}`;
}

export const flow = (lMin) => quantity(lMin, "L/min");
export const flows = (low, high) => `${flow(low).replace(/ \S+$/, "")} – ${flow(high)}`; // the unit once
export const metres = (m, digits) => quantity(m, "m", digits);

export const litres = (l) => (l >= 10_000 ? `${figure(l / 1000)} m³` : `${figure(l, 0)} L`);

// A typed figure as a number of the house's unit: a comma is a point, spaces are nothing, feet become metres. null for
// nothing, NaN for what is no number.
export function read(text) {
  if (typeof text === "number") return text;
  const whole = String(text ?? ""), behind = whole.match(BEHIND)?.[1].toLowerCase();
  const plain = whole.replace(BEHIND, "").replace(/[\s\u00a0\u202f]/g, "").replace(",", ".");
  if (plain === "") return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) * (SIZES[behind] ?? 1) : NaN;
}

export function ago(moment) {
  const minutes = Math.max(0, Math.round((Date.now() - moment) / 60_000));
  if (minutes < 2) return t("just_now");
  if (minutes < 90) return t("min_ago", { n: minutes });
  if (minutes < 48 * 60) return t("h_ago", { n: Math.round(minutes / 60) });
  return t("days_ago", { n: Math.round(minutes / 1440) });
}

// A day as "Monday 30 November", from its figures.
export const dayWords = (day) => new Intl.DateTimeFormat(document.documentElement.lang.replace(/^en$/, "en-GB"),
  { weekday: "long", day: "numeric", month: "long", timeZone: "UTC" }).format(new Date(`${day}T12:00:00Z`));

export const kilobytes = (bytes) => `${figure(bytes / 1000, 0)}\u00a0kB`;
