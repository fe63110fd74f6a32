// What other steps of the visit measured that a spot test rests on too, so that nothing is typed twice.
import { keptStep } from "./outbox.js";
import { read } from "./words.js";

const WANTED = ["loop_ohm", "first_water_min", "main", "meter_l", "bucket_l"];

// {loop_ohm, first_water_min, main_was_full, meter_share}, each only where a step of this visit was kept with it.
export async function besideOf(row) {
  const seen = {};
  for (const step of row.procedure?.steps || []) {
    const codes = step.captures.map((c) => c.code).filter((code) => WANTED.includes(code));
    const kept = codes.length && row.kept?.[step.code] ? await keptStep(row, step.code) : null;
    for (const code of codes) if (kept?.data.values?.[code]) seen[code] = kept.data.values[code];
  }
  const [loop, minutes, meter, bucket] = ["loop_ohm", "first_water_min", "meter_l", "bucket_l"].map((code) => read([].concat(seen[code] ?? "")[0]));
  const found = {};
  if (loop > 0) found.loop_ohm = loop;
  if (minutes > 0) found.first_water_min = minutes;
  if (minutes > 0 && seen.main === "full") found.main_was_full = true;
  if (meter >= 0 && meter !== null && bucket > 0) found.meter_share = meter / bucket;
  return found;
}
