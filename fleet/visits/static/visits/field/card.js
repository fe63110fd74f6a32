// The answer at the well: what is right for this sun and this level, read between the points of the expected card that
// the server worked out. The range is formed as the server forms it; tests hold both to the same answers.
import { fallOf } from "./fall.js";
import { between, ampsAt, flowAt, voltsAt } from "./tables.js";
import { read, t, figure } from "./words.js";

export { ampsAt, between, flowAt, voltsAt };

function median(numbers) {
  const sorted = [...numbers].sort((a, b) => a - b), middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

// The readings as numbers; texts as typed come in.
export function readings(values) {
  const found = { sun_by: values.sun_by || "none", main_was_full: values.main_was_full === true };
  for (const [name, value] of Object.entries(values)) {
    if (name === "repeats" || name === "sun_by") continue;
    const number = read(value);
    if (typeof value !== "object" && number !== null && Number.isFinite(number)) found[name] = number;
  }
  found.repeats = (values.repeats || []).map((r) => ({ litres: read(r?.litres), seconds: read(r?.seconds) }))
    .filter((r) => r.litres !== null && r.litres >= 0 && r.seconds > 0);
  const empty = found.repeats.length > 0 && found.repeats.every((r) => r.litres === 0);
  if (values.no_water === true || empty) {
    // No water came; how long it was watched says whether an empty rising main would have filled.
    const watched = empty && values.no_water !== true ? found.repeats.reduce((sum, r) => sum + r.seconds, 0) / 60 : found.watched_min;
    for (const name of ["flow_l_min", "meter_flow_l_min", "watched_min"]) delete found[name];
    found.repeats = [];
    if (watched > 0) Object.assign(found, { flow_l_min: 0, flow_by: "bucket", watched_min: watched });
  } else if (found.repeats.length) {
    // The bucket is the flow; what was read at the meter beside it tells of the meter.
    if (found.flow_l_min !== undefined) found.meter_flow_l_min = found.flow_l_min;
    found.flow_l_min = median(found.repeats.map((r) => (60 * r.litres) / r.seconds));
    found.flow_by = "bucket";
    if (found.meter_share > 0) found.meter_flow_l_min ??= found.meter_share * found.flow_l_min;
  } else if (found.flow_l_min !== undefined) found.flow_by = "meter";
  return found;
}

// Clear sky by the clock, W/m² in the modules' plane; null in the dark.
export function clearSky(card, moment) {
  const minute = moment.getUTCHours() * 60 + moment.getUTCMinutes();
  const { minute: x, w_m2: y } = card.clear || { minute: [] };
  if (!x.length || minute < x[0] || minute > x[x.length - 1]) return null;
  return Math.round(between(x, y, minute));
}

export function sunOf(card, r) {
  const range = card.range;
  if (r.irradiance_w_m2 !== undefined) return [r.irradiance_w_m2, range.sun[r.sun_by] ?? range.sun_unsure];
  if (r.module_isc_a !== undefined) {
    return [r.module_isc_a * between(card.isc.cell, card.isc.at, r.cell_c ?? 45), range.sun.module_isc];
  }
  return [null, null];
}

function levelOf(card, r) {
  if (r.static_level_m !== undefined) return [r.static_level_m, true, "dipped"];
  if (r.pumping_level_m !== undefined && r.flow_l_min) {
    return [Math.max(0, r.pumping_level_m - between(card.drawdown.flow, card.drawdown.m, r.flow_l_min)), true, "pumping"];
  }
  return [card.record_level, false, "record"];
}

const cannot = (because, more = {}) => ({ verdict: "cannot_tell", because, ...more });

export function answer(card, values) {
  const r = readings(values);
  const measured = r.flow_l_min ?? null;
  if (!card || card.trouble || !card.flow) return cannot([t("because_no_card"), card?.trouble].filter(Boolean).join(" "), { measured });
  const [sun, sunSigma] = sunOf(card, r);
  if (sun === null) return cannot(t("because_no_sun"), { measured });
  if (measured === null) return cannot(t("because_no_flow"), { sun });
  const [level, dipped, how] = levelOf(card, r);
  const range = card.range;
  const middle = flowAt(card, sun, level);
  const step = dipped ? range.dipped_m : range.record_m;
  const bySun = (flowAt(card, sun * (1 + sunSigma), level) - flowAt(card, sun * (1 - sunSigma), level)) / 2;
  const byLevel = (flowAt(card, sun, Math.max(level - step, 0)) - flowAt(card, sun, level + step)) / 2;
  const byFlow = (range.flow[r.flow_by] ?? range.flow_unsure) * middle;
  const byUnit = Math.hypot(card.own.sigma, range.model) * middle;
  const sigma = Math.hypot(bySun, byLevel, byFlow, byUnit);
  const found = {
    measured, sun, sunSigma, level, dipped, how, ratio: middle > 0 ? measured / middle : null,
    expected: { low: Math.max(0, middle - range.eighty * sigma), middle, high: middle + range.eighty * sigma },
    volts: voltsAt(card, sun, level), amps: ampsAt(card, sun, level), fall: fallOf(card, r, { sun, sunSigma, level, dipped }),
    own_tests: card.own.tests, judged: card.own.judged,
  };
  const said = verdict(measured, middle, sigma, sun, range);
  return { ...found, ...said, ...(measured === 0 && said.verdict === "below" ? noWater(card, r, sun) : {}) };
}

// What to think of it that no water came: nothing yet, where an empty rising main would not have filled.
function noWater(card, r, sun) {
  const due = card.first_water ? between(card.first_water.sun, card.first_water.minutes, sun) : null;
  if (r.watched_min === undefined || r.main_was_full || !(due > 0)) return { because: t("because_no_water") };
  const fills = due / card.own.factor, words = { n: figure(r.watched_min, 0), m: figure(Math.ceil(fills), 0) };
  if (r.watched_min < fills) return { verdict: "cannot_tell", because: t("because_not_filled", words) };
  return { because: t("because_none_came", words) };
}

function verdict(measured, middle, sigma, sun, range) {
  if (sun < range.least_sun) return { verdict: "cannot_tell", because: t("because_low_sun", { n: figure(range.least_sun, 0) }) };
  if (!(middle > 0)) return { verdict: "cannot_tell", because: t("because_no_lift") };
  if (sigma > range.too_open * middle) return { verdict: "cannot_tell", because: t("because_open") };
  const off = (measured - middle) / sigma, share = figure((100 * measured) / middle, 0);
  if (off < -range.proves) return { verdict: "below", because: t("because_below", { n: share }) };
  if (off > range.proves) return { verdict: "above", because: t("because_above") };
  const ok = Math.abs(off) > range.eighty ? "because_near" : "because_ok"; // outside what is shown, and yet no proof
  return { verdict: "as_expected", because: t(ok, { n: figure((100 * range.proves * sigma) / middle, 0) }) };
}

// What to look at next: the stages that lose most, if anything is amiss; a meter that shows something else in any case.
export function checkNext(found) {
  const wrong = found.fall?.meter && !found.fall.meter.agrees ? [t("check_meter")] : [];
  if (found.verdict !== "below") return wrong;
  const losing = (found.fall?.steps || []).filter((s) => s.loss > 0.05 * (found.expected?.middle || 1)).sort((a, b) => b.loss - a.loss);
  return [...(losing.length ? losing.map((s) => t(`check_${s.name === "pump_only" ? "pump" : s.name}`)) : [t("check_whole")]), ...wrong];
}
