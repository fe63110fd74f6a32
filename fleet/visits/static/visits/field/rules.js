// A step's values judged by its rules, as the server does; tests hold both to the same cases.
import { read } from "./words.js";

export function howMany(capture, built) {
  const repeats = capture.repeats ?? 1;
  if (repeats === "strings") return built?.strings || 1;
  if (repeats === "modules") return (built?.strings || 1) * (built?.modules_in_series || 1);
  return repeats;
}

// The numbers in a value; buckets give litres a minute each.
export function figures(value) {
  const found = [];
  for (const one of Array.isArray(value) ? value : [value]) {
    if (one && typeof one === "object") {
      const [litres, seconds] = [read(one.litres), read(one.seconds)];
      if (litres !== null && seconds) found.push((60 * litres) / seconds);
    } else if (typeof one !== "boolean") {
      const number = read(one);
      if (number !== null && Number.isFinite(number)) found.push(number);
    }
  }
  return found.filter(Number.isFinite);
}

const mean = (numbers) => numbers.reduce((a, b) => a + b, 0) / numbers.length;
const empty = (value) => value === undefined || value === null || value === "" || (Array.isArray(value) && !value.length);

function broken(rule, values, known) {
  const { kind, of } = rule;
  if (kind === "rising") {
    const rows = of.map((code) => figures(values[code] ?? null));
    return rows.some((row) => !row.length) ? null : rows.slice(1).some((row, i) => row[0] <= rows[i][0]);
  }
  const value = values[of];
  if (empty(value)) return null;
  if (kind === "yes") return value !== true;
  if (kind === "no") return value !== false;
  if (kind === "one_of") return !rule.values.includes(value);
  if (kind === "as_expected") {
    const verdict = value?.answer?.verdict;
    return !verdict || verdict === "cannot_tell" ? null : verdict === "below";
  }
  const numbers = figures(value);
  if (!numbers.length) return null;
  if (kind === "between") {
    return numbers.some((n) => (rule.low !== null && n < rule.low) || (rule.high !== null && n > rule.high));
  }
  if (kind === "alike") {
    const middle = mean(numbers);
    return numbers.some((n) => Math.abs(n - middle) > rule.within * Math.abs(middle));
  }
  if (kind === "near") {
    const other = figures(values[rule.to] ?? null);
    return !other.length || !mean(other) ? null : Math.abs(mean(numbers) / mean(other) - 1) > rule.within;
  }
  const last = known[rule.known];
  if (last === undefined || last === null) return null;
  if (kind === "not_below_known") return Math.min(...numbers) < last;
  return Math.abs(mean(numbers) - last) > rule.within * Math.abs(last);
}

export function judge(step, values, known = {}) {
  const sentences = [];
  let judged = false, stop = false;
  for (const rule of step.rules || []) {
    const is = broken(rule, values, known);
    if (is === null) continue;
    judged = true;
    if (is) {
      sentences.push(rule.otherwise);
      stop ||= Boolean(rule.stop);
    }
  }
  return { passed: judged ? !sentences.length : null, sentences, stop };
}

// Captures that are needed and not whole: [code, words, how many are missing].
export function missing(step, values, built) {
  const gaps = [];
  for (const capture of step.captures) {
    if (capture.required === false || capture.kind === "photo" || capture.kind === "mark") continue;
    const value = values[capture.code];
    if (empty(value) || (capture.kind === "spot" && !Object.keys(value).length)) gaps.push([capture.code, capture.label, 0]);
    else if (capture.kind === "buckets" || (capture.kind === "number" && howMany(capture, built) > 1)) {
      const lacking = howMany(capture, built) - figures(value).length;
      if (lacking > 0) gaps.push([capture.code, capture.label, lacking]);
    }
  }
  return gaps;
}

// Figures that cannot be: [capture, typed text].
export function impossible(step, values) {
  const found = [];
  for (const capture of step.captures) {
    if (capture.kind !== "number") continue;
    for (const typed of [].concat(values[capture.code] ?? [])) {
      const number = read(typed);
      if (number === null) continue;
      if (Number.isNaN(number) || (capture.low ?? -Infinity) > number || (capture.high ?? Infinity) < number) found.push([capture, typed]);
    }
  }
  return found;
}
