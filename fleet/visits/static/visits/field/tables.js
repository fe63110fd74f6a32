// Reading between the points of the tables that the server worked out.

export function between(x, y, at) {
  if (at <= x[0]) return y[0];
  const last = x.length - 1;
  if (at >= x[last]) return y[last];
  let i = 1;
  while (x[i] < at) i++;
  if (y[i] === null || y[i - 1] === null) return null;
  return x[i] === x[i - 1] ? y[i] : y[i - 1] + ((at - x[i - 1]) / (x[i] - x[i - 1])) * (y[i] - y[i - 1]);
}

// A table by level and sun; below its first sun in proportion down to nothing in the dark (flow, amps).
function table(card, rows, sun, level, dark = true) {
  const bySun = (row) => (dark && sun < card.sun[0] ? (row[0] * Math.max(sun, 0)) / card.sun[0] : between(card.sun, row, sun));
  return rows.length === 1 ? bySun(rows[0]) : between(card.level, rows.map(bySun), level);
}

export const flowAt = (card, sun, level) => table(card, card.flow, sun, level) * card.own.factor;
export const voltsAt = (card, sun, level) => table(card, card.volts, sun, level, false);
export const ampsAt = (card, sun, level) => table(card, card.amps, sun, level);

// What the modules give at this voltage and sun, A.
export const currentAt = (card, sun, volts) => between(card.iv.sun, card.iv.amps.map((row) => between(card.iv.volts, row, volts)), sun);

// Share of the flow that is left with so much resistance more in the loop.
export const leftBehind = (card, sun, ohm) => between(card.joint.ohm, card.joint.left.map((row) => between(card.joint.sun, row, sun)), Math.max(ohm, 0));

// Flow if the box lets out so many watts and no more; without a box there is no such limit.
export function flowLetThrough(card, watts, level) {
  if (!card.cap) return Infinity;
  const { w, flow } = card.cap;
  const byWatts = (row) => (watts < w[0] ? (row[0] * Math.max(watts, 0)) / w[0] : between(w, row, watts));
  return between(card.level, flow.map(byWatts), level) * card.own.factor;
}
