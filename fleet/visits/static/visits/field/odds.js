// Why a spot test falls short: the odds of the causes, weighed here from what was packed of all earlier readings and
// from this test, with the server's own sums (sizing.judge.ahead, sizing.causes.odds). Tests hold both to the same odds.
import { between, flowAt } from "./tables.js";

const DRAWN = 1, BOOKS = 2; // what a fault changes
const known = Number.isFinite;

function bytes(text) {
  return Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
}

function pairs(packed, scale, count) {
  if (typeof packed === "number") return new Float64Array(count).fill(packed / scale);
  const raw = bytes(packed), view = new DataView(raw.buffer);
  return Float64Array.from({ length: count }, (_, n) => view.getInt16(2 * n, true) / scale);
}

const unpacked = new WeakMap();

// What was packed, as arrays; once a card.
export function opened(odds) {
  if (unpacked.has(odds)) return unpacked.get(odds);
  const { parts, signs } = odds, of = bytes(parts.of), count = of.length, suns = signs.sun.length;
  const rows = ([places, values], scale) => {
    const found = new Map(), all = bytes(values);
    bytes(places).forEach((h, n) => found.set(h, Array.from(all.subarray(n * suns, (n + 1) * suns), (v) => (v - 128) / scale)));
    return found;
  };
  const flow = bytes(signs.flow);
  const found = {
    of, count, sun: signs.sun, cause: bytes(signs.cause), size: signs.size, smaller: Array.from(bytes(signs.smaller), (n) => n - 1), form: bytes(signs.form),
    grown: Float64Array.from(bytes(parts.grown), (v) => v / 100), weight: pairs(parts.weight, 100, count), factor: pairs(parts.factor, 1000, count),
    doubt: pairs(parts.doubt, 30000, count), carried: pairs(parts.carried, 5000, count), kept: pairs(parts.kept, 1000, count),
    flow: odds.signs.size.map((_, h) => Array.from(flow.subarray(h * suns, (h + 1) * suns), (v) => v / 200)),
    current: rows(signs.current, 200), voltage: rows(signs.voltage, 200), level: rows(signs.level, 5), stands: new Map(Object.entries(signs.stands).map(([h, row]) => [+h, row])),
    sides: Object.fromEntries(Object.entries(odds.sides).map(([name, [mean, variance, own, loose, trust, ...before]]) => {
      const metres = name === "level" || name === "rest";
      const [factor, doubt, carried] = before.map(bytes);
      return [name, { mean, variance, own, loose, trust, before: before.length ? {
        factor: Float64Array.from(factor, (v) => (v - 128) / 50), doubt: Float64Array.from(doubt, (v) => v / 255),
        carried: Float64Array.from(carried, (v) => (v - 128) / (metres ? 10 : 200)) } : null }];
    })),
  };
  unpacked.set(odds, found);
  return found;
}

// Log of water left by hypothesis h grown to a share of its size, read between the smaller sizes of the same cause.
function atSize(packed, left, h, grown) {
  if (grown >= 0.999) return left[h];
  const { size, smaller } = packed, wanted = Math.abs(size[h]) * grown;
  let low = h;
  while (smaller[low] >= 0 && Math.abs(size[smaller[low]]) >= wanted) low = smaller[low];
  const under = smaller[low];
  if (under < 0) return (left[low] * wanted) / Math.abs(size[low]);
  const share = (wanted - Math.abs(size[under])) / (Math.abs(size[low]) - Math.abs(size[under]));
  return left[under] + share * (left[low] - left[under]);
}

function logSum(logs) {
  const top = Math.max(...logs);
  return top === -Infinity ? top : top + Math.log(logs.reduce((sum, x) => sum + Math.exp(x - top), 0));
}

// The flow against what is due, and how far it may be off; null where a test says nothing.
function flowOf(card, r, { sun, sunSigma, level, dipped }, rules) {
  const { odds, range } = card, step = dipped ? range.dipped_m : range.record_m;
  const warm = between(odds.due.sun, odds.due.flow, sun) / flowAt(card, sun, card.record_level);
  const due = flowAt(card, sun, level) * (known(warm) ? warm : 0), at = (s, l) => Math.log(Math.max((flowAt(card, s, Math.max(l, 0)) * warm) / due, 0.05));
  if (!(sun >= rules.least_sun) || !(due >= rules.least_flow)) return null;
  const bySun = (at(sun * (1 + sunSigma), level) - at(sun * (1 - sunSigma), level)) / 2;
  const byLevel = (at(sun, level - step) - at(sun, level + step)) / 2;
  const byFlow = range.flow[r.flow_by] ?? range.flow_unsure;
  const variance = Math.max(bySun ** 2 + byLevel ** 2 + byFlow ** 2 + rules.model ** 2, rules.least_sd ** 2);
  if (!(variance < rules.too_open ** 2)) return null;
  return { share: r.flow_l_min / (due * Math.exp(odds.level)), variance, gain: Math.min(Math.max(bySun / sunSigma, 0.3), 8) };
}

// The readings beside the flow as differences from what is due, by channel; whether it stands with the sun on it.
function sidesOf(odds, r, { sun, sunSigma }, rules) {
  const due = (name) => between(odds.due.sun, odds.due[name], sun), found = {};
  let stood = null;
  if (sun > rules.bright) {
    const sure = sunSigma <= rules.sure_of_sun, volts = sure ? r.array_voltage_v : undefined, amps = sure ? r.array_current_a : undefined, pumping = sure ? r.pumping_level_m : undefined;
    const shouldV = due("volts"), shouldA = due("amps"), ofVolts = Math.log(volts / shouldV);
    const electric = known(amps) && shouldA > 0.1, runs = electric && amps > rules.runs * shouldA;
    const free = runs && !(ofVolts > 0.045 && odds.tracking), stalled = ofVolts < -0.5;
    if (free) found.current = Math.log(Math.max(amps, 0.05 * shouldA) / shouldA);
    if (free && known(volts) && shouldV > 1 && !stalled) found.voltage = ofVolts;
    if (known(pumping)) {
      if (runs || (amps === undefined && r.flow_l_min > 0)) found.level = pumping - due("level");
      else if (electric && !runs && !stalled) found.rest = pumping - odds.due.rest;
    } else if (known(r.static_level_m)) found.rest = r.static_level_m - odds.due.rest;
    if (electric) stood = !runs && !(volts < 0.6 * shouldV);
  }
  if (r.flow_by === "bucket" && known(r.meter_flow_l_min) && r.flow_l_min > 0) {
    found.meter = Math.log((Math.min(r.meter_flow_l_min / r.flow_l_min, 2) + rules.soft) / (1 + rules.soft));
  }
  return { sides: found, stood };
}

// {byCause, nothing, size}: odds of the causes if something is wrong, chance that nothing is, sizes, of a test that falls short; null where nothing was packed to weigh it with
// or the test says nothing. `found` is the answer (card.js): sun, level and how they were got.
export function weigh(card, r, found, rules) {
  const { odds } = card || {};
  if (!odds || !rules || !found?.expected) return null;
  const flow = flowOf(card, r, found, rules);
  if (!flow) return null;
  const packed = opened(odds), { sides, stood } = sidesOf(odds, r, found, rules), { soft, least } = rules;
  const bucket = r.flow_by === "bucket", logLeast = Math.log(least), h = packed.size.length;
  const read = (row) => between(packed.sun, row, found.sun);
  const left = Array.from({ length: h }, (_, n) => {
    const cause = rules.causes[packed.cause[n]];
    if ((packed.form[n] === BOOKS && bucket) || packed.form[n] === DRAWN) return 0;
    if ((cause === "water_sinks" && found.dipped) || (cause === "cuts_out" && packed.size[n] > 0)) return 0;
    if (cause === "cuts_out") return found.sun >= -packed.size[n] ? logLeast : 0;
    return Math.log(Math.max(read(packed.flow[n]), least));
  });
  const share = Math.max(flow.share, 0), steep = share / (share + soft);
  const ownVar = Math.max(flow.variance * steep ** 2, (rules.count_sd / (share + soft)) ** 2);
  const y = Math.log((share + soft) / (1 + soft)) + 0.5 * flow.variance * steep ** 2;
  const [mean, doubt] = odds.flow, { gain } = flow;
  const e = y - steep * (mean[0] + gain * mean[1]), s = steep ** 2 * (doubt[0] + 2 * gain * doubt[1] + gain ** 2 * doubt[2]) + ownVar;
  const shiftOf = {
    current: (n) => (packed.current.has(n) ? read(packed.current.get(n)) : 0), voltage: (n) => (packed.voltage.has(n) ? read(packed.voltage.get(n)) : 0),
    level: (n) => (packed.level.has(n) ? read(packed.level.get(n)) : 0), rest: (n) => (rules.causes[packed.cause[n]] === "water_sinks" ? packed.size[n] : 0),
    meter: (n) => (packed.form[n] === BOOKS ? Math.log((packed.flow[n][packed.flow[n].length - 1] + soft) / (1 + soft)) : 0),
  };
  const bright2 = ((found.sun - 750) / 250) ** 2 - 0.04;
  const beside = Object.entries(sides).map(([name, value]) => {
    const side = packed.sides[name];
    return { ...side, shift: Array.from({ length: h }, (_, n) => shiftOf[name](n)), off: value - side.mean, own: (side.variance + side.own ** 2 * bright2) / side.trust };
  });
  const p = new Float64Array(packed.count), kept = new Float64Array(packed.count);
  for (let i = 0; i < packed.count; i++) {
    const n = packed.of[i], grown = packed.grown[i], open = rules.spread[packed.cause[n]];
    let factor = packed.factor[i], doubt = open * packed.doubt[i], told = packed.weight[i];
    // One more reading that a size one times that tried would shift by `line` in all, off by `off`: its gain over
    // "nothing wrong", and what it tells of the size.
    const take = (linear, square) => {
      const rest = linear - square * factor, wide = 1 + doubt * square;
      told += linear * factor - 0.5 * square * factor ** 2 + (0.5 * doubt * rest ** 2) / wide - 0.5 * Math.log(wide);
      factor += (doubt * rest) / wide;
      doubt /= wide;
    };
    const x = Math.max(atSize(packed, left, n, grown), logLeast), water = x <= logLeast + 0.01 ? 0 : Math.exp(x);
    const shift = Math.log((water + soft) / (1 + soft)) - steep * packed.carried[i];
    take((shift * e) / s, shift ** 2 / s);
    for (const side of beside) {
      let line = side.shift[n] * grown, off = side.off, loose = side.loose;
      if (side.before) { // what earlier readings of this channel said of the shift's own factor
        line -= side.before.carried[i];
        off -= line * side.before.factor[i];
        loose *= side.before.doubt[i];
      }
      if (!line) continue;
      const whole = side.own + line ** 2 * loose;
      told += (side.off ** 2 / side.own - off ** 2 / whole - Math.log(whole / side.own)) / 2;
      if (side.before) line *= side.before.doubt[i];
      take((line * off) / whole, line ** 2 / whole);
    }
    if (stood !== null && packed.stands.has(n)) {
      const row = packed.stands.get(n), chance = row.length === 1 ? row[0] : read(row);
      if (known(chance) && chance !== null) {
        const sound = odds.stands, at = Math.min(Math.max(sound + (chance - sound) * grown, 0.005), 0.995);
        told += rules.noon_trust * Math.log(stood ? at / sound : (1 - at) / (1 - sound));
      }
    }
    p[i] = told;
    // What costs this test water counts, though a full tank may hide it in the day's.
    kept[i] = Math.exp(Math.min(packed.kept[i], x) * Math.min(Math.max(factor, 0.3), 2));
  }
  const wide = rules.misread_sd ** 2, misread = Math.log(rules.misread) - 0.5 * Math.log1p(wide / s) + (0.5 * (e / s) ** 2 * wide) / (1 + wide / s);
  const logs = Array.from(p), slight = (_, i) => kept[i] > rules.trifle;
  const sound = logSum([odds.sound, misread, ...logs.filter(slight)]), all = logSum([sound, ...logs.filter((_, i) => !slight(_, i))]);
  const byCause = rules.causes.map(() => 0), size = rules.causes.map(() => 0);
  p.forEach((log, i) => {
    if (kept[i] > rules.trifle) return;
    const share = Math.exp(log - all), n = packed.of[i];
    byCause[packed.cause[n]] += share;
    size[packed.cause[n]] += share * packed.size[n];
  });
  const cause = drawnLess(heldBack(byCause, odds, packed, sides, stood, rules), odds, share, Math.sqrt(flow.variance), rules);
  return { byCause: cause, nothing: Math.exp(sound - all), size: size.map((v, c) => v / Math.max(byCause[c], 1e-300)) };
}

// Odds of the causes after the doubt in the model itself.
function heldBack(byCause, odds, packed, sides, stood, rules) {
  const noons = stood !== null || ["current", "voltage", "level", "rest"].some((name) => name in sides), doubt = odds.doubt[noons ? 1 : 0];
  const total = byCause.reduce((a, b) => a + b, 0) || 1, asked = new Set(packed.cause);
  const cause = byCause.map((v, c) => (asked.has(c) ? Math.max(v / total, 1e-12) ** (1 / doubt) : 0)), before = odds.rates.map((v, c) => (asked.has(c) ? v : 0));
  const sum = (list) => list.reduce((a, b) => a + b, 0), [a, b] = [sum(cause), sum(before)];
  return cause.map((v, c) => ((1 - rules.ruled_out) * v) / a + (rules.ruled_out * before[c]) / b);
}

// Where the search finds it likelier that less is only drawn than that water is lost, the odds follow it
// (sizing.judge.flags.agreed): it was told beforehand, by what the test may show of the flow and by how far that is sure.
function drawnLess(cause, odds, share, doubt, rules) {
  if (!odds.less || !rules.less_at) return cause;
  const { share: shares, sd, cause: less } = rules.less_at;
  const found = between(sd, odds.less.map((row) => between(shares, row, share)), doubt), least = 1 / (1 + Math.exp(-found));
  if (!(found > 0) || cause[less] >= least) return cause;
  const others = (1 - least) / Math.max(1 - cause[less], 1e-9);
  return cause.map((v, c) => (c === less ? least : v * others));
}
