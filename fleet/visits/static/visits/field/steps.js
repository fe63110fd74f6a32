// One step a screen: cautions, figures before words, an answer at once, every keystroke kept.
import { control, inOrder } from "./captures.js";
import { besideOf } from "./beside.js";
import { answer, readings } from "./card.js";
import { all, get, isFull, put } from "./db.js";
import { badge, button, h, link, notice, p, shape } from "./dom.js";
import { freeze, keptStep } from "./outbox.js";
import { place, shrink } from "./photo.js";
import { impossible, judge, missing } from "./rules.js";
import { isLow } from "./room.js";
import { soon } from "./send.js";
import { ofStep } from "./slips.js";
import { answerCard, causesOf } from "./spot.js";
import { figure, liked, read, shownIn, t } from "./words.js";

const draftId = (visit, step) => `${visit}/${step}`;
const AGAIN_MS = 3000;
const LARGE = { class: "button button-main button-wide" };

// The values with each spot test's answer beside it, as the rules want to see them.
function withAnswers(step, values, card, beside) {
  const found = { ...values };
  for (const c of step.captures) {
    if (c.kind === "spot" && values[c.code] && Object.keys(values[c.code]).length) {
      found[c.code] = { ...values[c.code], answer: answer(card, { ...values[c.code], ...beside }) };
    }
  }
  return found;
}

const bounds = ({ low, high, unit }) => {
  const shown = (value) => (value === null || value === undefined ? "–" : figure(value / liked(unit).size, 1));
  return { low: shown(low), high: shown(high) };
};

// No water, and no word of how long somebody watched.
const unwatched = (capture, value) => capture.kind === "spot" && value?.no_water === true && !(read(value.watched_min) > 0);

// What is sent: spot tests carry a key of their own, what was shown on the spot, and what other steps measured for them.
function toSend(step, values, card, beside) {
  const found = { ...values };
  for (const c of step.captures) {
    const value = values[c.code];
    if (c.kind !== "spot" || !value) continue;
    if (!value.sun_by && !value.flow_l_min && !value.no_water && !(value.repeats || []).some((r) => r.litres || r.seconds)) {
      delete found[c.code];
      continue;
    }
    const { verdict, because, expected } = answer(card, { ...value, ...beside });
    const repeats = (value.repeats || []).filter((r) => r.litres && r.seconds);
    const { meter_share: share, ...more } = beside;
    const meter = share && !value.flow_l_min ? readings({ ...value, ...beside }).meter_flow_l_min : undefined;
    if (meter !== undefined) more.meter_flow_l_min = +meter.toFixed(2);
    found[c.code] = { ...value, ...more, repeats, key: crypto.randomUUID(), shown: { verdict, because, expected } };
  }
  return found;
}

export async function openDrafts(visit) {
  return (await all("drafts", visit)).filter((d) => !d.settled && (Object.keys(d.values).length || d.skip));
}

// Drafts that were never pressed home go along as they are, so that nothing typed stays behind.
export async function sendDrafts(row) {
  const beside = await besideOf(row);
  for (const draft of await openDrafts(row.key)) {
    const step = row.procedure.steps.find((s) => s.code === draft.step);
    if (!step || !Object.keys(draft.values).length) continue;
    const data = { step: step.code, values: toSend(step, draft.values, row.data.card, beside), cautions_seen: draft.seen || [], replaces: row.kept?.[step.code] || null, unfinished: true };
    await freeze(row.key, "step", data, { draft: draft.id });
  }
}

export async function stepScreen(row, code, { go, writable }) {
  const steps = row.procedure.steps, at = steps.findIndex((s) => s.code === code), step = steps[at];
  if (!step) return h("p", {}, t("unknown_step"));
  const { card, known, built, site } = row.data;
  const kept = await keptStep(row, code);
  const id = draftId(row.key, code);
  const beside = step.captures.some((c) => c.kind === "spot") ? await besideOf(row) : {};
  const draft = (await get("drafts", id)) || { id, visit: row.key, step: code, values: kept?.data.values || {}, seen: [], asked: [] };
  if (draft.settled && kept) Object.assign(draft, { values: kept.data.values || {}, skip: kept.data.skipped_why || "" });
  const asked = new Set(draft.asked || []);
  const said = h("div", { class: "said" }), slips = h("div", {}), state = h("p", { class: "kept-state", role: "status" });
  const fields = new Map();

  // Every keystroke: the newest draft is written at once; while one write runs, only the newest waits.
  let writing = null, next = false, failed = false;
  function keep() {
    failed = false;
    draft.settled = false;
    draft.changed = Date.now();
    if (writing) {
      next = true;
      return writing;
    }
    writing = put("drafts", structuredClone(draft)).then(() => {
      state.textContent = t("kept_here");
      state.classList.remove("trouble");
    }, (trouble) => {
      failed = true;
      setTimeout(() => failed && keep(), AGAIN_MS);
      state.textContent = t(isFull(trouble) ? "disk_full" : "not_kept");
      state.classList.add("trouble");
    }).finally(() => {
      writing = null;
      if (next) {
        next = false;
        keep();
      }
    });
    return writing;
  }

  function look() {
    const questions = ofStep(step, draft.values, known || {}).filter((q) => !asked.has(q.code));
    slips.replaceChildren(...questions.map((q) => notice("watch", p(q.words), h("div", { class: "buttons" },
      button(t("slip_seen"), () => { asked.add(q.code); draft.asked = [...asked]; keep(); look(); })))));
    const { sentences, stop } = judge(step, withAnswers(step, draft.values, card, beside), known || {});
    said.replaceChildren(...sentences.map((words) => notice(stop ? "bad" : "watch", stop ? h("p", { class: "notice-title" }, t("stop")) : null, p(words))));
  }

  const context = {
    built, zone: site.zone, card, weighing: row.weighing, cautions: row.cautions, asked, beside, answered: (q) => { asked.add(q); draft.asked = [...asked]; keep(); },
    photos: async (capture) => Promise.all(((await get("visits", row.key)).pictures || [])
      .filter((one) => one.step === code && one.capture === capture).map(async (one) => (await get("photos", one.key))?.blob ?? (await get("keep", `mine/${one.key}`)))).then((found) => found.filter(Boolean)),
    takePhoto: async (capture, file) => {
      if (await isLow()) return t("room_low");
      try {
        const [blob, where] = await Promise.all([shrink(file), place()]);
        const data = { step: code, size: blob.size, caption: capture.label, latitude_deg: where?.lat ?? null, longitude_deg: where?.lon ?? null };
        const piece = await freeze(row.key, "photo", data, { blob, alter: (changed, made) => {
          changed.pictures = [...(changed.pictures || []), { key: made.key, step: code, capture: capture.code }];
        } });
        row.pictures = [...(row.pictures || []), { key: piece.key }];
        soon();
        return t("photo_kept", { n: figure(blob.size / 1000, 0) });
      } catch (trouble) {
        return t(!trouble?.storage ? "photo_bad" : isFull(trouble) ? "disk_full" : "not_kept");
      }
    },
  };

  const cautions = step.cautions.map((mark) => caution(mark, row, draft, keep));
  const controls = inOrder(step.captures).map((capture) => {
    const made = h("div", { class: "capture", id: `capture-${capture.code}` }, control(capture, draft.values[capture.code], (value) => {
      draft.values = { ...draft.values, [capture.code]: value };
      keep();
      look();
    }, context));
    fields.set(capture.code, made);
    return made;
  });

  const gaps = h("div", {});
  function complain(lines) {
    gaps.replaceChildren(notice("bad", ...lines.map((line) => p(line))));
    gaps.firstChild.scrollIntoView({ block: "center" });
  }

  async function pressed(skipped) {
    await keep();
    const seen = draft.seen || [];
    if (!skipped) {
      const unseen = step.cautions.filter((c) => !seen.includes(c));
      if (unseen.length) return complain([t("see_first")]);
      const wrong = impossible(step, draft.values).map(([c, typed]) =>
        Number.isNaN(read(typed)) ? t("not_number", { what: c.label, typed })
          : t("range", { what: c.label, n: `${shownIn(typed, c.unit)} ${liked(c.unit).unit || ""}`, ...bounds(c) }));
      if (wrong.length) return complain(wrong);
      const open = missing(step, draft.values, built).map(([, label, n]) => (n ? t("missing_n", { what: label, n }) : t("missing", { what: label })));
      if (open.length) return complain([...open, t("missing_way_out")]);
      if (step.captures.some((c) => unwatched(c, draft.values[c.code]))) return complain([t("watched_missing"), t("missing_way_out")]);
    } else if (!draft.skip?.trim()) return complain([t("need_why")]);
    const values = skipped ? {} : toSend(step, draft.values, card, beside);
    const judged = judge(step, withAnswers(step, draft.values, card, beside), known || {});
    const old = (await get("visits", row.key)).kept?.[code] || null;
    const data = { step: code, values, cautions_seen: seen, replaces: old };
    if (skipped) data.skipped_why = draft.skip.trim();
    try {
      await freeze(row.key, "step", data, { draft: id, alter: (changed) => {
        changed.seen = [...new Set([...(changed.seen || []), ...seen])];
        changed.skipped = { ...changed.skipped, [code]: Boolean(skipped) };
        changed.amiss = { ...changed.amiss, [code]: skipped || judged.passed !== false ? "" : judged.stop ? "bad" : "watch" };
      } });
    } catch (trouble) {
      return complain([t(isFull(trouble) ? "disk_full" : "not_kept")]);
    }
    soon();
    const spots = skipped ? [] : step.captures.filter((c) => c.kind === "spot" && values[c.code]);
    if (!skipped && (judged.sentences.length || spots.length)) return after(judged, spots);
    return go(nextOpen(await get("visits", row.key), at));
  }

  function after(judged, spots) {
    const target = get("visits", row.key).then((fresh) => nextOpen(fresh, at));
    // Where it says stop, the large button leads back to putting it right, not on.
    const onwards = (more) => button(t("next"), async () => go(await target), more);
    const again = (more) => button(t("correct_again"), () => go(`#/visit/${row.key}/step/${code}?again=${Date.now()}`), more);
    screen.replaceChildren(h("h1", {}, step.title), h("p", {}, judged.passed === false ? badge(t("not_in_order"), judged.stop ? "bad" : "watch") : judged.passed ? badge(t("in_order"), "good") : badge(t("kept"), "plain")),
      ...judged.sentences.map((words) => notice(judged.stop ? "bad" : "watch", judged.stop ? h("p", { class: "notice-title" }, t("stop")) : null, p(words), judged.stop ? p(t("stop_note")) : null)),
      ...spots.map((c) => {
        const all = { ...draft.values[c.code], ...beside }, found = answer(card, all);
        return h("div", { class: "card" }, answerCard(found, { cautions: row.cautions, causes: causesOf(card, all, found, row.weighing, c.test_kind) }));
      }),
      h("div", { class: "field-bar" }, judged.stop ? again(LARGE) : onwards(LARGE)),
      h("div", { class: "buttons" }, link(t("add_finding"), `#/visit/${row.key}/finding`), judged.stop ? onwards() : again()));
    scrollTo(0, 0);
    screen.querySelector("h1").focus?.();
  }

  const skip = h("details", { class: "more skip-step", open: Boolean(draft.skip) }, h("summary", {}, t("skip")),
    h("div", { class: "field" }, h("label", { for: "skip-why" }, t("skip_why")), h("input", { class: "input", id: "skip-why", type: "text", maxlength: 300, value: draft.skip || "",
      oninput: (event) => { draft.skip = event.target.value; keep(); } })),
    button(t("skip_go"), () => pressed(true)));

  const screen = h("section", { class: "step" },
    h("p", { class: "field-where" }, link(t("all_steps"), `#/visit/${row.key}`, { class: "button button-plain" }), h("span", {}, t("step_of", { a: at + 1, b: steps.length }))),
    h("progress", { max: steps.length, value: at + 1, "aria-label": t("step_of", { a: at + 1, b: steps.length }) }),
    h("h1", { tabindex: -1 }, step.title), step.text ? h("p", { class: "lead" }, step.text) : null,
    kept?.piece.state === "refused" ? notice("bad", h("p", { class: "notice-title" }, t("refused")), p(kept.piece.sentence)) : null,
    roomNotice(), ...cautions, ...controls, slips, said, gaps, state,
    writable() ? h("div", { class: "field-bar" }, button(kept ? t("correct") : t("keep"), () => pressed(false), { class: "button button-main button-wide" })) : null,
    writable() ? skip : null,
    h("div", { class: "buttons" }, at ? link(t("step_before"), `#/visit/${row.key}/step/${steps[at - 1].code}`) : null,
      at < steps.length - 1 ? link(t("step_after"), `#/visit/${row.key}/step/${steps[at + 1].code}`) : null));
  look();
  // Before another screen: what is being written is waited for; nothing is written that was not typed, for a step that
  // was kept would count as begun again.
  screen.flush = async () => {
    if (failed) keep();
    while (writing) await writing;
  };
  return screen;
}

// Said in time: while there is still room for all that is typed at this visit.
export function roomNotice() {
  const place = h("div", {});
  isLow().then((low) => low && place.replaceChildren(notice("bad", p(t("room_low")))));
  return place;
}

function caution(code, row, draft, keep) {
  const words = row.cautions[code] || { title: code, full: "", short: "" };
  const known = (row.seen || []).includes(code);
  const box = h("input", { type: "checkbox", checked: (draft.seen || []).includes(code), onchange: (event) => {
    draft.seen = event.target.checked ? [...new Set([...(draft.seen || []), code])] : (draft.seen || []).filter((c) => c !== code);
    keep();
  } });
  return h("div", { class: "caution", role: "note" },
    h("p", { class: "caution-title" }, shape("danger"), h("strong", {}, words.title), h("span", { class: "caution-kind" }, code)),
    known ? [p(words.short), h("details", { class: "more" }, h("summary", {}, t("in_full")), p(words.full))] : p(words.full),
    h("label", { class: "acknowledge" }, box, " ", t("seen")));
}

export function nextOpen(row, after) {
  const steps = row.procedure.steps;
  for (let i = 1; i <= steps.length; i++) {
    const step = steps[(after + i) % steps.length];
    if (!row.kept?.[step.code]) return `#/visit/${row.key}/step/${step.code}`;
  }
  return `#/visit/${row.key}/leave`;
}

