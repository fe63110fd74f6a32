// Which reading more would tell the leading causes apart, as the server chooses it (sizing.causes.checks).
import { opened } from "./odds.js";

// Share of a normal distribution below z; Abramowitz & Stegun 26.2.17, from memory, right to seven places.
function below(z) {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const tail = (Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI)) * t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return z > 0 ? 1 - tail : tail;
}

// What each cause does in a good sun at about the size that the readings say: logs of amps, volts, flow; metres.
function effects(odds, size, rules) {
  const packed = opened(odds), at = packed.sun.indexOf(rules.check.good_sun), found = rules.check.usual.map((row) => [...row]);
  for (const cause of new Set(packed.cause)) {
    if (rules.check.as_usual.includes(rules.causes[cause])) continue;
    let best = -1;
    packed.cause.forEach((c, n) => {
      if (c === cause && (best < 0 || Math.abs(packed.size[n] - size[cause]) < Math.abs(packed.size[best] - size[cause]))) best = n;
    });
    const read = (name) => packed[name].get(best)?.[at] ?? 0;
    found[cause] = [read("current"), read("voltage"), Math.log(Math.max(packed.flow[best][at], 0.02)), read("level")];
  }
  return found;
}

function outcomes(odds, size, rules) {
  const of = effects(odds, size, rules), { sd, clearly, dead, dead_dip: deadDip } = rules.check, clip = (x) => Math.min(Math.max(x, 0.002), 1);
  const thirds = (n) => of.map((row) => {
    const low = below((-clearly * sd[n] - row[n]) / sd[n]), high = 1 - below((clearly * sd[n] - row[n]) / sd[n]);
    return [clip(low), clip(1 - low - high), clip(high)];
  });
  const dip = thirds(3);
  dip[dead] = deadDip;
  return { ...rules.check.outcomes, power_and_flow: together(together(thirds(0), thirds(1)), thirds(2)), dip };
}

// Outcomes read at once, each by itself given the cause.
function together(one, other) {
  return one.map((row, c) => {
    const whole = row.flatMap((a) => other[c].map((b) => a * b)), sum = whole.reduce((a, b) => a + b, 0);
    return whole.map((v) => v / sum);
  });
}

const entropy = (p) => p.reduce((sum, v) => sum - (v > 0 ? v * Math.log2(v) : 0), 0);

function bits(cause, chances) {
  let after = 0;
  for (let o = 0; o < chances[0].length; o++) {
    const joint = cause.map((p, c) => p * chances[c][o]), sum = joint.reduce((a, b) => a + b, 0);
    if (sum > 0) after += sum * entropy(joint.map((v) => v / sum));
  }
  return entropy(cause) - after;
}

// Checks that would show the leading cause itself, the quickest first (sizing.causes.checks.confirming).
function confirming(cause, tables, { sure: [, foundSo, atLeast], minutes }) {
  const lead = cause.indexOf(Math.max(...cause)), others = cause.map((_, c) => c).filter((c) => c !== lead);
  const sum = others.reduce((a, c) => a + cause[c], 0) || 1, rest = (c) => (0.5 * cause[c]) / sum + 0.5 / others.length, found = {};
  for (const [code, table] of Object.entries(tables)) {
    const times = Math.max(...table[lead].map((p, o) => (p >= foundSo ? p / Math.max(others.reduce((a, c) => a + rest(c) * table[c][o], 0), 1e-6) : 0)));
    if (times >= atLeast) found[code] = times;
  }
  return Object.keys(found).sort((a, b) => minutes[a] - minutes[b] || found[b] - found[a]);
}

// Codes of the one or two checks that tell most, the best first; what this test has read already (r) is left out.
export function checksOf(odds, { byCause, size }, r, rules) {
  const { minutes, hurry, least_bits: least, most, read, sure: [sure], at_their_hours: atTheirHours } = rules.check;
  const total = byCause.reduce((a, b) => a + b, 0) || 1, cause = byCause.map((v) => v / total);
  const isDone = (code) => read[code]?.every((name) => Number.isFinite(r[name]));
  const tables = Object.fromEntries(Object.entries(outcomes(odds, size, rules)).filter(([code]) => !isDone(code)));
  const settle = Math.max(...cause) > sure ? confirming(cause, { ...tables, ...atTheirHours }, rules.check) : [], chosen = [];
  let soFar = cause.map(() => [1]), known = 0;
  while (chosen.length < most) {
    const left = Object.keys(tables).filter((code) => !chosen.includes(code));
    const told = Object.fromEntries(left.map((code) => [code, bits(cause, together(soFar, tables[code])) - known]));
    let best = left.reduce((a, b) => (told[a] / minutes[a] ** hurry >= told[b] / minutes[b] ** hurry ? a : b));
    if (told[best] < least) break;
    if (settle.length && !chosen.length) {
      best = settle[0];
      tables[best] ??= atTheirHours[best];
      told[best] = bits(cause, tables[best]);
    }
    chosen.push(best);
    soFar = together(soFar, tables[best]);
    known += told[best];
  }
  return chosen;
}
