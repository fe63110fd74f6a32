// Slips of the finger, asked about kindly: a slip of ten, another unit, two figures swapped. Never changed by itself.
import { asTyped, figure, liked, read, t } from "./words.js";
import { ampsAt, flowAt, readings, sunOf, voltsAt } from "./card.js";

const FOOT = 0.3048;
const nearly = (value, right, share = 0.3) => right > 0 && Math.abs(value / right - 1) <= share;

// Levels: the other unit of length, or a slip of ten; asked in the unit the person likes.
function levelSlips(value, record, field, found) {
  if (value === undefined || !(record > 1)) return;
  const { unit, size } = liked("m"), feet = unit === "ft", shown = (m) => figure(m / size);
  const other = feet ? value / FOOT : value * FOOT; // the same figure, had it been meant in the other unit
  if (nearly(other, record, 0.12) && !nearly(value, record, 0.3)) {
    found.push({ code: `${field}_feet`, words: t(feet ? "slip_metres" : "slip_feet", { typed: shown(value), right: shown(other) }), mend: { [field]: asTyped(other, "m", 1) } });
  } else if (nearly(value, record * 10, 0.3) || nearly(value, record / 10, 0.3)) {
    const right = value > record ? value / 10 : value * 10;
    found.push({ code: `${field}_ten`, words: t("slip_ten", { typed: shown(value), right: shown(right) }), mend: { [field]: asTyped(right, "m", 3) } });
  }
}

// Questions about a spot test's readings: [{code, words, mend: {field: text}}].
export function ofSpot(card, values) {
  const r = readings(values), found = [];
  if (r.irradiance_w_m2 > 0 && r.irradiance_w_m2 <= 1.6) {
    found.push({ code: "sun_kw", words: t("slip_kw", { typed: figure(r.irradiance_w_m2, 2), right: figure(1000 * r.irradiance_w_m2, 0) }), mend: { irradiance_w_m2: String(Math.round(1000 * r.irradiance_w_m2)) } });
  } else if (r.irradiance_w_m2 > 1600 && r.irradiance_w_m2 <= 16000) {
    found.push({ code: "sun_ten", words: t("slip_ten", { typed: figure(r.irradiance_w_m2, 0), right: figure(r.irradiance_w_m2 / 10, 0) }), mend: { irradiance_w_m2: String(Math.round(r.irradiance_w_m2 / 10)) } });
  }
  r.repeats.forEach((fill, i) => {
    if (fill.seconds < 3) found.push({ code: `short_${i}`, words: t("slip_short", { n: i + 1, s: figure(fill.seconds) }), mend: null });
  });
  const flows = r.repeats.map((fill) => (60 * fill.litres) / fill.seconds);
  if (flows.length >= 2) {
    const middle = [...flows].sort((a, b) => a - b)[flows.length >> 1];
    flows.forEach((one, i) => {
      if (nearly(one, 10 * middle, 0.3) || nearly(one, middle / 10, 0.3)) {
        found.push({ code: `fill_${i}`, words: t("slip_fill", { n: i + 1 }), mend: null });
      }
    });
  }
  if (!card?.flow) return found;
  for (const field of ["static_level_m", "pumping_level_m"]) levelSlips(r[field], card.record_level, field, found);
  const [sun] = sunOf(card, r);
  if (sun === null || sun < 150 || sun > 1600) return found;
  const level = Math.min(Math.max(r.static_level_m ?? card.record_level, card.level[0]), card.level[card.level.length - 1]);
  const [volts, amps, flow] = [voltsAt(card, sun, level), ampsAt(card, sun, level), flowAt(card, sun, level)];
  const { array_voltage_v: v, array_current_a: a } = r;
  if (v && a && nearly(v, amps, 0.4) && nearly(a, volts, 0.4)) {
    found.push({ code: "swapped", words: t("slip_swapped"), mend: { array_voltage_v: values.array_current_a, array_current_a: values.array_voltage_v } });
  } else {
    for (const [field, typed, right, unit] of [["array_voltage_v", v, volts, "V"], ["array_current_a", a, amps, "A"]]) {
      if (!typed || !right) continue;
      if (nearly(typed, 10 * right, 0.3) || nearly(typed, right / 10, 0.3)) {
        const mended = typed > right ? typed / 10 : typed * 10;
        found.push({ code: `${field}_ten`, words: t("slip_ten", { typed: `${figure(typed, 2)} ${unit}`, right: `${figure(mended, 2)} ${unit}` }), mend: { [field]: String(+mended.toFixed(3)) } });
      }
    }
  }
  const meter = r.flow_by === "meter" ? r.flow_l_min : r.meter_flow_l_min, against = r.flow_by === "meter" ? flow : r.flow_l_min;
  if (meter > 0 && against > 0) {
    const { unit, size } = liked("L/min"), hours = unit === "m³/h", shown = (l) => figure(l / size, hours ? 2 : 1);
    const other = hours ? meter * 0.06 : meter / 0.06; // the same figure, had it been meant in the other unit
    if (nearly(other, against, 0.35)) {
      found.push({ code: "flow_m3h", words: t(hours ? "slip_lmin" : "slip_m3h", { typed: shown(meter), right: shown(other) }), mend: { flow_l_min: asTyped(other, "L/min") } });
    } else if (nearly(meter, 10 * against, 0.3) || nearly(meter, against / 10, 0.2)) {
      const mended = meter > against ? meter / 10 : meter * 10;
      found.push({ code: "flow_ten", words: t("slip_ten", { typed: shown(meter), right: shown(mended) }), mend: { flow_l_min: asTyped(mended, "L/min", 3) } });
    }
  }
  if (flows.length && flow > 0 && (nearly(r.flow_l_min, 10 * flow, 0.3) || nearly(r.flow_l_min, flow / 10, 0.15))) {
    found.push({ code: "bucket_ten", words: t("slip_bucket"), mend: null });
  }
  return found;
}

// Questions about a plain figure that is known from before (meter, level, loop).
export function ofStep(step, values, known) {
  const found = [];
  for (const rule of step.rules || []) {
    if (!rule.known || known[rule.known] === undefined) continue;
    const typed = read([].concat(values[rule.of] ?? [])[0]), last = known[rule.known];
    if (typed === null || !Number.isFinite(typed)) continue;
    if (rule.kind === "near_known") levelSlips(typed, last, rule.of, found);
    else if (nearly(typed, last / 10, 0.15) || nearly(typed, last * 10, 0.15)) {
      const right = typed < last ? typed * 10 : typed / 10;
      found.push({ code: `${rule.of}_digit`, words: t("slip_digit", { typed: figure(typed, 0), last: figure(last, 0) }), mend: null, right });
    }
  }
  return found;
}
