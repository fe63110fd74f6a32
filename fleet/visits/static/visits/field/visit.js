// A packed visit: the way there, what is known, its steps; findings, parts, leaving.
import { get, isFull, put } from "./db.js";
import { badge, button, facts, h, link, notice, p } from "./dom.js";
import { freeze, keptStep } from "./outbox.js";
import { apartKm, place } from "./photo.js";
import { soon } from "./send.js";
import { nextOpen, openDrafts, roomNotice, sendDrafts } from "./steps.js";
import { dayWords, figure, flow, litres, metres, percent, read, t } from "./words.js";

const FAR_KM = 3;

export async function visitScreen(row, { go, writable, others }) {
  const { site, unit, built } = row.data;
  const drafts = new Set((await openDrafts(row.key)).map((d) => d.step));
  const where = h("div", {});
  place().then((here) => here && where.replaceChildren(...wrongPlace(row, here, others)));

  async function arrive() {
    try {
      await freeze(row.key, "start", { day: row.data.day }, { alter: (changed) => { changed.arrived = Date.now(); } });
    } catch (trouble) {
      where.replaceChildren(notice("bad", p(t(isFull(trouble) ? "disk_full" : "not_kept"))));
      return where.scrollIntoView({ block: "center" });
    }
    soon();
    go(nextOpen(await get("visits", row.key), -1));
  }

  const steps = await Promise.all((row.procedure?.steps || []).map(async (step) => {
    const kept = await keptStep(row, step.code);
    const word = kept?.piece.state === "refused" ? badge(t("refused"), "bad") : row.skipped?.[step.code] ? badge(t("skipped"), "idle")
      : kept && row.amiss?.[step.code] ? badge(t("not_in_order"), row.amiss[step.code]) : kept ? badge(t("kept"), "good") : drafts.has(step.code) ? badge(t("begun"), "watch") : null;
    return h("li", {}, h("a", { href: `#/visit/${row.key}/step/${step.code}` }, h("span", { class: "grow" }, step.title,
      step.cautions.length ? h("span", { class: "quiet small step-cautions" }, step.cautions.map((mark) => row.cautions?.[mark]?.title || mark).join(" · ")) : null), word));
  }));
  const next = nextOpen(row, -1), onwards = row.left ? t("go_on") : t(next.endsWith("/leave") ? "leave" : "next_step");
  const pictures = (await Promise.all((row.data.photos || []).map((address) => get("keep", `photo/${address}`)))).filter(Boolean);

  return h("section", {},
    h("p", { class: "field-where" }, link(t("home"), "#/", { class: "button button-plain" }), h("span", {}, row.data.kind_word)),
    h("h1", { tabindex: -1 }, `${site.code} ${site.name}`), row.data.why ? h("p", { class: "lead" }, row.data.why) : null,
    row.gone ? notice("watch", p(t("to_settle"))) : null,
    row.moved ? notice("watch", p(t(row.left ? "moved_left" : "moved", { day: dayWords(row.moved), was: dayWords(row.data.day) }))) : null,
    roomNotice(), row.data.danger ? notice("danger", p(t("danger"))) : null, where,
    !writable() ? null : row.arrived ? h("div", { class: "field-bar" }, link(onwards, next, { class: "button button-main button-wide" }),
      link(t("face"), `#/visit/${row.key}/sun`)) : h("div", { class: "field-bar" }, button(t("arrive"), arrive, { class: "button button-main button-wide" }), link(t("face"), `#/visit/${row.key}/sun`)),
    h("h2", {}, t("way")), facts([t("place"), h("a", { href: `geo:${site.latitude_deg},${site.longitude_deg}` }, `${site.latitude_deg.toFixed(5)}, ${site.longitude_deg.toFixed(5)}`)],
      [t("village"), [site.village, site.district].filter(Boolean).join(", ")], [t("way_in"), site.way], [t("signal"), site.signal],
      [t("caretaker"), [site.caretaker, site.phone ? [" ", h("a", { href: `tel:${site.phone}` }, site.phone)] : null]]),
    unit ? [h("h2", {}, t("unit")), facts([t("serial"), unit.serial], [t("type"), unit.type], [t("label"), unit.label],
      [t("array"), t("array_is", { strings: built.strings, series: built.modules_in_series })], [t("stands"), t("stands_is", { tilt: figure(built.tilt_deg, 0), azimuth: figure(built.azimuth_deg, 0) })],
      [t("depth"), built.setting_depth_m && metres(built.setting_depth_m)], [t("lengths"), t("lengths_are", { pipe: metres(built.pipe_m), rope: metres(built.rope_m), cable: metres(built.cable_m) })],
      [t("controller"), built.controller])] : null,
    row.data.told ? [h("h2", {}, t("told")), p(row.data.told)] : null,
    row.data.causes.length ? [h("h2", {}, t("probably")), h("ul", {}, row.data.causes.map(([words, odds]) => h("li", {}, `${words} `, h("span", { class: "quiet" }, percent(odds)))))] : null,
    h("h2", {}, t("steps")), row.procedure ? h("ol", { class: "links step-links" }, steps) : p(t("no_procedure")),
    row.arrived ? h("div", { class: "buttons" }, link(t("add_finding"), `#/visit/${row.key}/finding`), link(t("add_part"), `#/visit/${row.key}/part`), link(t("leave"), `#/visit/${row.key}/leave`)) : null,
    (row.findings || []).length ? [h("h2", {}, t("findings")), h("ul", {}, row.findings.map((words) => h("li", {}, words)))] : null,
    (row.parts || []).length ? [h("h2", {}, t("parts")), h("ul", {}, row.parts.map((words) => h("li", {}, words)))] : null,
    row.data.parts.length ? [h("h2", {}, t("take")), h("ul", {}, row.data.parts.map(([, name, why]) => h("li", {}, h("strong", {}, name), " ", h("span", { class: "quiet" }, why))))] : null,
    cardTable(row.data.card),
    row.data.history.length ? [h("h2", {}, t("history")), h("ol", { class: "timeline" }, row.data.history.map((old) => h("li", {}, h("h3", {}, `${old.day} · ${old.kind}`), p([old.outcome, ...old.found].filter(Boolean).join(" · ")))))] : null,
    pictures.length ? h("ul", { class: "photos" }, pictures.map((blob) => h("li", {}, h("img", { alt: t("site_photo"), src: URL.createObjectURL(blob) })))) : null);
}

function wrongPlace(row, here, others) {
  const km = (site) => apartKm(here, { lat: site.latitude_deg, lon: site.longitude_deg });
  const far = km(row.data.site);
  if (far < FAR_KM + here.within_m / 1000) return [];
  const nearer = others.filter((o) => o.key !== row.key && km(o.data.site) < Math.min(FAR_KM, far / 2)).sort((a, b) => km(a.data.site) - km(b.data.site))[0];
  return [notice("watch", p(t("far", { n: figure(far, 0), site: row.data.site.name })),
    nearer ? p(link(t("nearer", { site: `${nearer.data.site.code} ${nearer.data.site.name}` }), `#/visit/${nearer.key}`)) : null)];
}

function cardTable(card) {
  if (!card?.flow) return null;
  const suns = [300, 500, 800, 1000].filter((s) => card.sun.includes(s)), at = (s) => card.sun.indexOf(s);
  const levels = card.level.map((level, i) => [level, i]).filter(([, i]) => i % 2 === 0);
  const voc = [20, 40, 60].map((c) => `${c} °C: ${figure(card.voc.at[card.voc.cell.indexOf(c)], 0)} V`).join(" · ");
  const rows = levels.map(([level, i]) => h("tr", {}, h("th", { scope: "row", class: "num" }, metres(level)), suns.map((s) => h("td", { class: "num" }, flow(card.flow[i][at(s)] * card.own.factor).replace(/ .*/, "")))));
  return h("details", { class: "more" }, h("summary", {}, t("card")),
    h("div", { class: "table-wrap", tabindex: 0, role: "region", "aria-label": t("card") }, h("table", { class: "table" }, h("caption", {}, t("card_caption", { unit: flow(1).replace(/^\S+ /, "") })),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("level")), suns.map((s) => h("th", { scope: "col", class: "num" }, `${s} W/m²`)))), h("tbody", {}, rows))),
    facts([t("day_total"), card.day.kwh_m2.filter((k) => k >= 4 && k <= 7).map((k) => `${k} kWh/m²: ${litres(card.day.litres[card.day.kwh_m2.indexOf(k)])}`).join(" · ")],
      [t("string_voc"), voc], [t("first_water"), card.first_water?.minutes?.some((m) => m !== null) && [300, 500, 800].map((s) => card.first_water.sun.indexOf(s)).map((i) => card.first_water.minutes[i] === null ? null : `${card.first_water.sun[i]} W/m²: ${figure(card.first_water.minutes[i])} min`).filter(Boolean).join(" · ")]));
}

function select(label, pairs, keep, value = "", needed = true) {
  const id = `s-${label}`;
  return h("div", { class: "field" }, h("label", { for: id }, label, needed ? null : h("span", { class: "optional" }, t("optional"))),
    h("select", { id, class: "input", onchange: (event) => keep(event.target.value) }, h("option", { value: "" }, t("choose")),
      pairs.map(([code, words]) => h("option", { value: code, selected: code === value }, words))));
}

function text(label, keep, { value = "", area = false, unit = "", decimal = false } = {}) {
  const id = `t-${label}`;
  const input = h(area ? "textarea" : "input", { id, class: decimal ? "input figure" : "input", ...(area ? { rows: "3" } : { type: "text", inputmode: decimal ? "decimal" : "text" }), oninput: (event) => keep(event.target.value) });
  input.value = value;
  return h("div", { class: "field" }, h("label", { for: id }, label), h("span", { class: "with-unit" }, input, unit ? h("span", { class: "unit" }, unit) : null));
}

const check = (label, keep, value) => h("div", { class: "field field-single" }, h("label", {}, h("input", { type: "checkbox", checked: value, onchange: (event) => keep(event.target.checked) }), label));

// A small form that keeps every keystroke as a draft of its own until it is frozen.
async function formScreen(row, name, title, fields, finish) {
  const id = `${row.key}/${name}`, kept = await get("drafts", id);
  const draft = kept && !kept.settled ? kept : { id, visit: row.key, step: `(${name})`, values: {}, form: true };
  let last = Promise.resolve();
  const set = (field) => (value) => {
    draft.values[field] = value;
    draft.settled = false;
    last = last.then(() => put("drafts", structuredClone(draft))).catch(() => { said.replaceChildren(notice("bad", p(t("not_kept")))); });
  };
  const said = h("div", {});
  const screen = h("section", { class: "step" }, h("p", { class: "field-where" }, link(t("all_steps"), `#/visit/${row.key}`, { class: "button button-plain" })), h("h1", { tabindex: -1 }, title),
    ...fields(draft.values, set), said, h("div", { class: "field-bar" }, button(t("keep_this"), async () => {
      await last;
      const trouble = await finish(draft.values, id).catch((fault) => {
        if (!fault?.storage) throw fault;
        return t(isFull(fault) ? "disk_full" : "not_kept");
      });
      if (trouble) {
        said.replaceChildren(notice("bad", p(trouble)));
        said.scrollIntoView({ block: "center" });
      }
    }, { class: "button button-main button-wide" })));
  screen.flush = () => last;
  return screen;
}

export function findingScreen(row, { go, lists }) {
  const named = (list) => Object.entries(lists[list]);
  return formScreen(row, "finding", t("add_finding"), (v, set) => [
    ["failure_mode", true], ["item", false], ["mechanism", false], ["cause", true], ["detection", false], ["action", true],
  ].map(([list, needed]) => select(t(list), named(list), set(list), v[list], needed)).concat([
    text(t("in_words"), set("words"), { value: v.words, area: true }), check(t("confirmed"), set("confirmed"), v.confirmed ?? true), check(t("warranty"), set("warranty"), v.warranty ?? false),
  ]), async (values, draft) => {
    for (const field of ["failure_mode", "cause", "action"]) if (!values[field]) return t("missing", { what: t(field) });
    const words = [lists.item[values.item], lists.failure_mode[values.failure_mode], lists.cause[values.cause], lists.action[values.action]].filter(Boolean).join(" · ");
    await freeze(row.key, "finding", { confirmed: true, warranty: false, ...values }, { draft, alter: (changed) => { changed.findings = [...(changed.findings || []), words]; } });
    soon();
    go(`#/visit/${row.key}`);
    return "";
  });
}

export function partScreen(row, { go, lists }) {
  return formScreen(row, "part", t("add_part"), (v, set) => [
    select(t("part"), lists.parts, set("part"), v.part), text(t("quantity"), set("quantity"), { value: v.quantity ?? "1", decimal: true }),
    text(t("serial_out"), set("serial_out"), { value: v.serial_out }), text(t("serial_in"), set("serial_in"), { value: v.serial_in }), check(t("aboard"), set("was_aboard"), v.was_aboard ?? true),
  ], async (values, draft) => {
    const quantity = read(values.quantity ?? "1");
    if (!values.part) return t("missing", { what: t("part") });
    if (!Number.isInteger(quantity) || quantity < 1) return t("whole_number");
    const name = lists.parts.find(([code]) => code === values.part)?.[1] || values.part;
    await freeze(row.key, "part", { was_aboard: true, ...values, quantity }, { draft, alter: (changed) => { changed.parts = [...(changed.parts || []), `${quantity} × ${name}`]; } });
    soon();
    go(`#/visit/${row.key}`);
    return "";
  });
}

export async function leaveScreen(row, { go }) {
  const open = (row.procedure?.steps || []).filter((s) => s.needed !== false && !row.kept?.[s.code]);
  const stands = (row.procedure?.steps || []).filter((s) => row.amiss?.[s.code] === "bad"); // where it said: stop
  const begun = await openDrafts(row.key);
  const listed = (some) => h("ul", {}, some.map((s) => h("li", {}, h("a", { href: `#/visit/${row.key}/step/${s.code}` }, s.title))));
  return formScreen(row, "leave", t("leave"), (v, set) => [
    stands.length ? notice("bad", h("p", { class: "notice-title" }, t("leave_amiss")), listed(stands)) : null,
    open.length ? notice("watch", h("p", { class: "notice-title" }, t("leave_open")), listed(open)) : notice("good", p(t("all_recorded"))),
    begun.some((d) => !d.form) ? notice("info", p(t("drafts_go_along"))) : null,
    text(t("km"), set("km"), { value: v.km, unit: "km", decimal: true }), text(t("caretaker_words"), set("caretaker_words"), { value: v.caretaker_words, area: true }),
    text(t("not_done"), set("not_done"), { value: v.not_done, area: true }),
  ], async (values, draft) => {
    const km = read(values.km);
    if (Number.isNaN(km) || (km !== null && (km < 0 || km > 5000))) return t("km_range");
    if (open.length && !(values.not_done || "").trim()) return t("leave_need");
    await sendDrafts(await get("visits", row.key));
    await freeze(row.key, "leave", { ...values, km }, { draft, alter: (changed) => { changed.left = Date.now(); } });
    soon(0);
    go("#/");
    return "";
  });
}

