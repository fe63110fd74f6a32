// Where the water of a spot test is lost, stage by stage, as the server works it out: from what would be right by the
// record, each reading takes its part. What was not measured is said to be untold. Tests hold both to the same losses.
import { between, currentAt, flowAt, flowLetThrough, leftBehind } from "./tables.js";

const STAGES = ["well", "array", "cable", "controller", "pump"];
const known = Number.isFinite;

function given(card, r, sun, level) {
  const drawn = between(card.drawdown.flow, card.drawdown.m, r.flow_l_min);
  const both = r.static_level_m !== undefined && r.pumping_level_m !== undefined && drawn > 0.05;
  const electric = r.array_voltage_v > 0 && r.array_current_a >= 0;
  return {
    sun, level, flow: r.flow_l_min, own: 0, pump: 0, drawn: both ? Math.min(20, Math.max(0.1, (r.pumping_level_m - r.static_level_m) / drawn)) : 1,
    volts: electric ? r.array_voltage_v : NaN, amps: electric ? r.array_current_a : NaN,
    ohm: (r.loop_ohm ?? NaN) - (card.loop_ohm ?? NaN), output: (r.output_voltage_v ?? NaN) * (r.output_current_a ?? NaN),
  };
}

// Litres a minute lost at each of STAGES.
function losses(card, g) {
  const share = Math.exp(g.own), record = card.record_level;
  // Drawn further down than the record says, the water stands deeper by that much.
  const flow = (level, drawn, sun) => {
    let found = flowAt(card, sun, level);
    for (let n = 0; n < 4 && drawn !== 1; n++) {
      const more = (drawn - 1) * between(card.drawdown.flow, card.drawdown.m, found);
      found = (found + flowAt(card, sun, Math.max(level + more, 0))) / 2;
    }
    return found * share;
  };
  const left = [flow(record, 1, g.sun), flow(g.level, g.drawn, g.sun)];
  let sun = g.sun;
  if (known(g.volts)) {
    const could = currentAt(card, g.sun, g.volts);
    sun = g.sun * (could > 0 ? Math.min(card.losses.light, Math.max(0, g.amps / could)) : 1); // more current is more sun, up to a point
    left.push(flow(g.level, g.drawn, sun));
  } else left.push(left[1]);
  left.push(left[2] * (known(g.ohm) ? leftBehind(card, sun, g.ohm) : 1));
  let through = left[3];
  if (known(g.volts) && card.cap) {
    const watts = Math.max(0.1, known(g.output) ? g.output : g.volts * g.amps * card.cable.efficiency);
    through = Math.min(through, flowLetThrough(card, watts, g.level) * share);
  }
  left.push(through * (1 + g.pump), g.flow);
  return left.slice(1).map((value, i) => left[i] - value);
}

const RELATIVE = { amps: "amps", volts: "volts", flow: "flow", output: "output" };

function spread(card, g, r, sunSigma, levelSigma) {
  const { losses: size, range, own } = card;
  const steps = { sun: g.sun * sunSigma, level: levelSigma, own: own.sigma, pump: size.pump, ohm: size.ohm * (r.loop_ohm ?? 0) };
  for (const [name, of] of Object.entries(RELATIVE)) steps[name] = size[of] * g[name];
  const sum = STAGES.map(() => 0);
  for (const [name, step] of Object.entries(steps)) {
    if (!(step > 0)) continue;
    const up = losses(card, { ...g, [name]: g[name] + step }), down = losses(card, { ...g, [name]: g[name] - step });
    up.forEach((value, i) => { sum[i] += ((value - down[i]) / 2) ** 2; });
  }
  return sum.map((value) => range.eighty * Math.sqrt(value));
}

// Which part the last stage stands for: the minutes to first water part pump from pipe.
function lastName(card, g, r) {
  if (!known(g.volts)) return "whole";
  const due = r.first_water_min > 0 && !r.main_was_full && card.first_water ? between(card.first_water.sun, card.first_water.minutes, g.sun) : null;
  if (!(due > 0)) return "pump";
  const ratio = (r.first_water_min * card.own.factor) / due;
  return ratio > card.losses.falls_back ? "pipe" : ratio < card.losses.fills ? "pump_only" : "pump";
}

function meterOf(card, r, after) {
  const beside = r.meter_flow_l_min, due = r.flow_l_min + after;
  if (!(r.flow_l_min > 0) || r.flow_by !== "bucket") return null;
  if (beside === undefined && !(card.own.books && due > 0)) return null;
  const shows = beside === undefined ? (card.own.books * due) / r.flow_l_min : beside / r.flow_l_min;
  const agrees = Math.abs(Math.log(Math.max(shows, 0.01))) < (beside === undefined ? card.losses.agrees : card.losses.beside);
  return { stage: "meter", agrees, beside: beside !== undefined, expected: r.flow_l_min, measured: r.flow_l_min * shows, unit: "L/min",
    loss: r.flow_l_min * (1 - shows), clear: !agrees };
}

// How far pumping draws the water down, against the record, where both levels were read: it costs water by itself.
function drawnDown(card, r, g) {
  return g.drawn === 1 ? null : { expected: between(card.drawdown.flow, card.drawdown.m, r.flow_l_min), measured: r.pumping_level_m - r.static_level_m };
}

// {start, steps: [{stage, name, expected, measured, unit, loss, clear}], meter, untold: [codes of words]}
export function fallOf(card, r, { sun, sunSigma, level, dipped }) {
  const g = given(card, r, sun, level), lost = losses(card, g), range = card.range;
  const wide = spread(card, g, r, sunSigma, dipped ? range.dipped_m : range.record_m);
  const electric = known(g.volts), could = electric ? currentAt(card, sun, g.volts) : 0;
  const left = lost.reduce((sum, value) => sum + value, r.flow_l_min) - lost.slice(0, 4).reduce((sum, value) => sum + value, 0);
  const told = {
    well: (dipped || g.drawn !== 1) && { expected: card.record_level, measured: level, unit: "m", drawn: drawnDown(card, r, g) },
    array: electric && could > 0 && { expected: could, measured: g.amps, unit: "A" },
    cable: known(g.ohm) && { expected: card.loop_ohm, measured: r.loop_ohm, unit: "Ω" },
    controller: electric && card.cap && { expected: g.volts * could * card.cable.efficiency, measured: known(g.output) ? g.output : g.volts * g.amps * card.cable.efficiency, unit: "W" },
    pump: { expected: left, measured: r.flow_l_min, unit: "L/min" },
  };
  const steps = STAGES.map((stage, i) => told[stage] && { stage, name: stage === "pump" ? lastName(card, g, r) : stage, ...told[stage], loss: lost[i], clear: Math.abs(lost[i]) > wide[i] }).filter(Boolean);
  const untold = [!electric && "untold_electric", r.loop_ohm === undefined ? "untold_loop" : card.loop_ohm == null && "untold_first_loop", !dipped && "untold_level"].filter(Boolean);
  const start = r.flow_l_min + lost.reduce((sum, value) => sum + value, 0);
  return { start, steps, untold, meter: meterOf(card, r, lost.slice(1).reduce((sum, value) => sum + value, 0)) };
}
