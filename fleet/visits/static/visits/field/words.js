// The screens' texts in the person's language, and numbers as the person likes to read them.
let words = {};
let person = {};
let number = new Intl.NumberFormat("en");

export function speak(found, who) {
  words = { ...words, ...found };
  if (who) {
    person = who;
    document.documentElement.lang = who.language || "en";
    number = new Intl.NumberFormat(who.language === "fr" ? "fr" : "en", { maximumFractionDigits: 1 });
    if (who.theme) document.documentElement.dataset.theme = who.theme;
  }
}

export function t(key, values = {}) {
  const found = words[key] ?? key;
  return found.replace(/\{(\w+)\}/g, (all, name) => (name in values ? String(values[name]) : all));
}

export const figure = (value, digits = 1) =>
  value === null || value === undefined || !Number.isFinite(value) ? "–"
    : number.format(Number(value.toFixed(digits)));
export const percent = (share) => `${figure(100 * share, 0)} %`;

export function flow(lMin) {
  if (lMin === null || lMin === undefined) return "–";
  return person.flow_unit === "m3_h" ? `${figure(lMin * 0.06, 2)} m³/h` : `${figure(lMin)} L/min`;
}

export function metres(m, digits = 1) {
  if (m === null || m === undefined) return "–";
  return person.length_unit === "ft" ? `${figure(m / 0.3048, digits)} ft` : `${figure(m, digits)} m`;
}

export const litres = (l) => (l >= 10_000 ? `${figure(l / 1000)} m³` : `${figure(l, 0)} L`);

// A typed figure as a number: a comma is a point, spaces are nothing. null for nothing, NaN for what is no number.
export function read(text) {
  if (typeof text === "number") return text;
  const plain = String(text ?? "").replace(/[\s\u00a0\u202f]/g, "").replace(",", ".");
  if (plain === "") return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

export function ago(moment) {
  const minutes = Math.max(0, Math.round((Date.now() - moment) / 60_000));
  if (minutes < 2) return t("just_now");
  if (minutes < 90) return t("min_ago", { n: minutes });
  if (minutes < 48 * 60) return t("h_ago", { n: Math.round(minutes / 60) });
  return t("days_ago", { n: Math.round(minutes / 1440) });
}

export const kilobytes = (bytes) => `${figure(bytes / 1000, 0)} kB`;
