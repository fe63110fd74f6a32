// The spot test: sun, level, volts and amps, flow, and the answer as soon as there is enough to give one.
import { answer, checkNext, clearSky, readings, sunOf } from "./card.js";
import { bucketRows, numberInput } from "./captures.js";
import { now } from "./clock.js";
import { badge, button, h, notice, p, shape } from "./dom.js";
import { checksOf } from "./next.js";
import { weigh } from "./odds.js";
import { ofSpot } from "./slips.js";
import { figure, flow, flows, metres, percent, t } from "./words.js";

const TONES = { as_expected: "good", above: "up", below: "bad", cannot_tell: "unsure" };
const WAYS = ["reference_cell", "pyranometer", "module_isc", "clear_sky", "none"];

export function verdictBadge(verdict) {
  const made = badge(t(verdict), verdict === "above" ? "watch" : TONES[verdict] || "unsure");
  made.classList.add("verdict");
  return made;
}

// The answer drawn: range and reading on one bar, then words.
export function answerCard(found, { short = false, causes = null, waits = false, cautions = {} } = {}) {
  const rows = [h("p", { class: "verdict-line" }, verdictBadge(found.verdict))];
  if (found.expected) {
    rows.push(h("dl", { class: "range" },
      h("div", {}, h("dt", {}, t("yours")), h("dd", { class: "range-own" }, flow(found.measured))),
      h("div", {}, h("dt", {}, t("right_now")), h("dd", {}, flows(found.expected.low, found.expected.high)))));
    rows.push(bar(found));
  }
  rows.push(p(found.because));
  if (short) return h("div", { class: "answer", role: "status" }, rows);
  if (waits) rows.push(h("p", { class: "hint" }, t("odds_after_slip")));
  if (causes) rows.push(h("p", { class: "strong" }, t("probably")), causes.nothing > MAY_WELL ? p(t("odds_again")) : null, likely(causes), h("p", { class: "hint" }, t("odds_note", { n: chance(causes.nothing) })));
  const next = causes ? causes.checks.map((check) => withCautions(check, cautions)).concat(meterWords(found)) : checkNext(found);
  if (next.length) rows.push(h("p", { class: "strong" }, t("check_next")), h("ol", {}, next.map((words) => h("li", {}, words))));
  if (found.fall) {
    const { steps, meter, untold } = found.fall;
    rows.push(h("details", { class: "more", open: found.verdict === "below" || meter?.agrees === false }, h("summary", {}, t("where_lost")), fall(found),
      h("dl", { class: "facts" }, [...steps, meter].filter(Boolean).flatMap((s) => [h("dt", {}, nameOf(s)), h("dd", {}, said(s))])),
      untold.map((code) => h("p", { class: "hint" }, t(code)))));
  }
  if (found.expected) {
    rows.push(h("p", { class: "hint" }, t("rests_on", { sun: figure(found.sun, 0), level: metres(found.level), how: t(`level_${found.how}`) }),
      " ", found.judged ? t("rests_judged") : found.own_tests ? t("rests_tests", { n: found.own_tests }) : t("rests_type")));
  }
  return h("div", { class: "answer", role: "status" }, rows);
}

const MAY_WELL = 0.3; // chance that nothing is wrong, from which a second test comes first; as at the desk

// Nothing that is worked out from readings is ever certain.
const chance = (share) => (share > 0.99 ? t("above_99") : share < 0.01 ? t("below_1") : percent(share)).replace(" %", "\u00a0%");

const likely = ({ causes }) => h("ul", { class: "odds-list" }, causes.map(({ words, odds }) => {
  const part = h("span", { class: "odds-filled" });
  part.style.width = `${Math.max(1, 100 * odds)}%`;
  return h("li", {}, h("span", {}, words), h("strong", {}, chance(odds)), h("span", { class: "odds-track", "aria-hidden": "true" }, part));
}));

const meterWords = (found) => (found.fall?.meter && !found.fall.meter.agrees ? [t("check_meter")] : []);

// `titles`: the procedure's own cautions, {mark: {title}}: said in the person's language, where a mark is not.
const withCautions = ([words, cautions], titles) => [words, cautions.map(([mark, caution]) => h("div", { class: "caution", role: "note" },
  h("p", { class: "caution-title" }, shape("danger"), titles[mark] ? h("strong", {}, titles[mark].title) : [h("strong", {}, t("caution")), " ", h("span", { class: "caution-kind" }, mark)]), p(caution)))];

// Why it falls short, weighed here; null where it does not, or where nothing was packed to weigh it with. A test after
// work or at commissioning has none, as at the desk: what was read before the work says nothing of what hangs there now.
export function causesOf(card, values, found, rules, kind = "visit") {
  if (found.verdict !== "below" || kind !== "visit") return null;
  const r = readings(values), weighed = weigh(card, r, found, rules);
  if (!weighed) return null;
  const order = rules.causes.map((cause, n) => ({ cause, words: rules.words[cause], odds: weighed.byCause[n] }))
    .sort((a, b) => Math.round(1000 * b.odds) - Math.round(1000 * a.odds) || (a.cause < b.cause ? -1 : 1));
  return { causes: order.filter((one) => one.odds > rules.named).slice(0, rules.most), nothing: weighed.nothing,
    checks: checksOf(card.odds, weighed, r, rules).map((code) => rules.check_words[code]).filter(Boolean) };
}

function quantity(value, unit) {
  if (unit === "L/min") return flow(value);
  if (unit === "m") return metres(value);
  return `${figure(value, { W: 0, "Ω": 2 }[unit] ?? 1)} ${unit}`;
}

const nameOf = (s) => t(`stage_${s.name || s.stage}`);

const together = (figure) => figure.replace(" ", "\u00a0"); // a figure and its unit

// A stage in words: what was read, what is right, what that costs, and whether the instruments can show so little.
function said(s) {
  const cost = Math.abs(s.loss) < 0.1 ? "" : t(s.loss > 0 ? "stage_costs" : "stage_gains", { loss: flow(Math.abs(s.loss)) });
  const books = s.stage === "meter" ? t(s.agrees ? "meter_agrees" : s.beside ? "meter_beside" : "meter_books") : "";
  const drawn = s.drawn ? t("stage_drawn", { expected: together(metres(s.drawn.expected)), measured: together(metres(s.drawn.measured)) }) : "";
  return [t("stage_said", { expected: quantity(s.expected, s.unit), measured: quantity(s.measured, s.unit) }), drawn ? `; ${drawn}` : "",
    books ? h("span", { class: "quiet" }, ` – ${books}`) : null, cost && !books ? [" ", h("span", { class: "quiet whole" }, cost)] : null, cost && !s.clear ? h("span", { class: "quiet" }, ` ${t("stage_unclear")}`) : null];
}

// The water from what is expected at the usual level down to what came, a step a stage, and on to what the meter makes
// of it. The words below say the same.
function fall({ measured, fall: { start, steps, meter } }) {
  const rows = [{ words: t("fall_from"), from: 0, to: start, tone: "right", said: flow(start) }];
  let left = start;
  const step = (s) => {
    rows.push({ words: nameOf(s), from: left, to: left - s.loss, tone: s.loss > 0 ? "lost" : "won", open: !s.clear, said: `${s.loss > 0 ? "−" : "+"}${flow(Math.abs(s.loss))}` });
    left -= s.loss;
  };
  steps.filter((one) => Math.abs(one.loss) >= 0.1).forEach(step);
  rows.push({ words: t("yours"), from: 0, to: measured, tone: "own", said: flow(measured) });
  if (meter && !meter.agrees) {
    left = measured;
    step(meter);
    rows.push({ words: t("fall_meter"), from: 0, to: meter.measured, tone: "own", said: flow(meter.measured) });
  }
  const most = Math.max(...rows.flatMap((row) => [row.from, row.to])) || 1;
  return h("ul", { class: "fall", "aria-hidden": "true" }, rows.map(({ words, from, to, tone, open, said }) => {
    const piece = h("span", { class: `fall-piece fall-${tone}${open ? " fall-unclear" : ""}` });
    piece.style.left = `${(100 * Math.max(0, Math.min(from, to))) / most}%`;
    piece.style.width = `${Math.max(1, (100 * Math.abs(to - from)) / most)}%`;
    return h("li", {}, h("span", {}, words), h("strong", {}, said), h("span", { class: "fall-track" }, piece));
  }));
}

function bar({ expected, measured }) {
  const most = Math.max(expected.high, measured) * 1.15 || 1;
  const made = h("canvas", { class: "range-bar", width: 600, height: 84, role: "img",
    "aria-label": `${t("yours")}: ${flow(measured)}. ${t("right_now")}: ${flows(expected.low, expected.high)}` });
  const draw = () => {
    const pen = made.getContext("2d"), style = getComputedStyle(document.body), colour = (name) => style.getPropertyValue(name).trim();
    const x = (v) => 12 + (576 * v) / most;
    pen.clearRect(0, 0, 600, 84);
    pen.fillStyle = colour("--sunken");
    pen.fillRect(12, 30, 576, 24);
    pen.fillStyle = colour("--good");
    pen.fillRect(x(expected.low), 30, x(expected.high) - x(expected.low), 24);
    pen.fillStyle = colour("--surface");
    pen.fillRect(x(expected.middle) - 1.5, 30, 3, 24);
    pen.fillStyle = pen.strokeStyle = colour("--ink");
    pen.lineWidth = 4;
    pen.beginPath();
    pen.moveTo(x(measured), 18);
    pen.lineTo(x(measured), 66);
    pen.stroke();
    pen.beginPath();
    pen.moveTo(x(measured) - 13, 2);
    pen.lineTo(x(measured) + 13, 2);
    pen.lineTo(x(measured), 22);
    pen.fill();
  };
  requestAnimationFrame(draw);
  return made;
}

// `beside`: what other steps of the visit measured that this test rests on too (loop resistance, first water).
export function spot(capture, value, changed, { card, weighing, cautions, asked, answered, beside }) {
  let values = { ...value, repeats: value.repeats || [] };
  const said = h("div", { class: "spot-answer" }), slips = h("div", {});
  const box = h("fieldset", { class: "group" });

  function tell(part) {
    values = { ...values, ...part };
    changed(values);
    look();
  }

  function look() {
    const all = { ...values, ...beside };
    const questions = ofSpot(card, all).filter((q) => !asked.has(q.code));
    slips.replaceChildren(...questions.map((q) => notice("watch", p(q.words), h("div", { class: "buttons" },
      q.mend ? button(t("slip_mend"), () => { tell(q.mend); draw(); }) : null,
      button(q.mend ? t("slip_right") : t("slip_seen"), () => { asked.add(q.code); answered(q.code); look(); })))));
    const r = readings(all);
    const enough = r.flow_l_min !== undefined && (!card?.flow || sunOf(card, r)[0] !== null);
    const found = enough ? answer(card, all) : null, waits = found?.verdict === "below" && questions.length > 0;
    said.replaceChildren(found ? answerCard(found, { waits, cautions, causes: waits ? null : causesOf(card, all, found, weighing, capture.test_kind) }) : h("p", { class: "hint" }, t(r.flow_l_min !== undefined ? "answer_waits_sun" : values.no_water ? "watched_missing" : "answer_waits")));
  }

  const figureOf = (name, label, unit, hint) => numberInput({ label: t(label), unit, value: values[name], changed: (text) => tell({ [name]: text }), hint });

  function draw() {
    const way = values.sun_by || "";
    const radio = (code) => h("label", {}, h("input", { type: "radio", name: `way-${capture.code}`, value: code, checked: way === code,
      onchange: () => {
        const part = { sun_by: code };
        if (code === "clear_sky") {
          const estimate = card ? clearSky(card, now()) : null;
          if (estimate) part.irradiance_w_m2 = String(estimate);
        }
        tell(part);
        draw();
      } }), h("span", {}, t(`sun_${code}`)));
    const rows = [h("legend", {}, capture.label)];
    rows.push(h("fieldset", { class: "field" }, h("legend", {}, t("sun_by")), h("div", { class: "choices big-choices" }, WAYS.map(radio))));
    if (way === "module_isc") rows.push(figureOf("module_isc_a", "module_isc_a", "A"), figureOf("cell_c", "cell_c", "°C"));
    else if (way && way !== "none") rows.push(figureOf("irradiance_w_m2", "irradiance_w_m2", "W/m²", way === "clear_sky" ? t("clear_sky_hint") : ""));
    rows.push(h("h3", {}, t("water_level")), h("div", { class: "field-row" }, figureOf("static_level_m", "static_level_m", "m"), figureOf("pumping_level_m", "pumping_level_m", "m")));
    rows.push(h("h3", {}, t("flow")), h("div", { class: "choices big-choices no-water" }, h("label", {}, h("input", { type: "checkbox", checked: values.no_water === true,
      onchange: (event) => { tell({ no_water: event.target.checked }); draw(); } }), h("span", {}, t("no_water")))));
    if (values.no_water) rows.push(figureOf("watched_min", "watched_min", "min", t("watched_hint")));
    else rows.push(bucketRows(values.repeats, capture.repeats || 3, (repeats) => tell({ repeats })), h("details", { class: "more", open: Boolean(values.flow_l_min) }, h("summary", {}, t("flow_by_meter")), figureOf("flow_l_min", "flow_meter", "L/min")));
    rows.push(h("h3", {}, t("electric")), h("div", { class: "field-row" }, figureOf("array_voltage_v", "array_voltage_v", "V"), figureOf("array_current_a", "array_current_a", "A")),
      h("details", { class: "more", open: Boolean(values.output_voltage_v || values.output_current_a) }, h("summary", {}, t("output")), h("p", { class: "hint" }, t("output_hint")),
        h("div", { class: "field-row" }, figureOf("output_voltage_v", "output_voltage_v", "V"), figureOf("output_current_a", "output_current_a", "A"))));
    box.replaceChildren(...rows, slips, said);
    look();
  }
  draw();
  return box;
}
