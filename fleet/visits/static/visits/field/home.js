// The first screen: what is packed, how old and how large; the visits by day; the label; what waits to be sent; the PIN.
import { all, askToStay, get, stays } from "./db.js";
import { doubtful, offset } from "./clock.js";
import { badge, button, facts, h, link, notice, p } from "./dom.js";
import { isSet, lockNow, mustWait, setPin, unlock } from "./lock.js";
import { holding, hereBytes, mark } from "./outbox.js";
import { APP, ask, daysLeft, device, pack } from "./pack.js";
import { room } from "./room.js";
import { canScan, checks, codeOf, oneApart, scanner } from "./scan.js";
import { send, sending, soon } from "./send.js";
import { ago, dayWords, figure, kilobytes, t } from "./words.js";

const LOW = 40_000_000, LABEL = /^[0-9A-Z]{7}$/;

// Some browsers let a page ask to be put on the home screen itself; others leave it to their menu.
let offer = null;
export function offered(event) {
  event.preventDefault();
  offer = event;
}

const onHomeScreen = () => matchMedia("(display-mode: standalone)").matches;

// Told until the browser has promised to keep what is written here.
function unpromised(refresh) {
  const ask = async () => {
    await offer.prompt();
    if ((await offer.userChoice).outcome === "accepted") await askToStay();
    offer = null;
    refresh();
  };
  return notice("info", p(t("not_promised")), p(t(onHomeScreen() ? "send_often" : "to_home_screen")),
    offer && !onHomeScreen() ? p(button(t("put_there"), ask)) : null);
}

export async function homeScreen({ go, refresh, bundle }) {
  const rows = (await all("visits")).sort((a, b) => a.data.day.localeCompare(b.data.day) || (a.data.order || 0) - (b.data.order || 0));
  const said = h("div", { role: "status" });
  const packing = button(t("pack"), async () => {
    packing.disabled = true;
    packing.textContent = t("packing");
    try {
      await pack();
      refresh();
    } catch (trouble) {
      said.replaceChildren(notice("watch", p(trouble.message && trouble.status ? trouble.message : t("pack_failed")), trouble.status === 401 || trouble.status === 403 ? p(link(t("log_in"), "/people/log-in/?next=/field/")) : null));
      packing.disabled = false;
      packing.textContent = t("pack");
    }
  });
  const { left } = await room();
  const days = [...new Set(rows.map((row) => row.data.day))];
  return h("section", {}, h("h1", { tabindex: -1 }, t("my_visits")),
    left < LOW ? notice("bad", p(t("disk_low"))) : null,
    doubtful() ? notice("watch", p(offset() === undefined ? t("clock_unsure") : t("clock_wrong", { n: figure(Math.abs(offset()) / 60_000, 0) }))) : null,
    h("div", { class: "card packed" }, h("p", {}, bundle ? [badge(t("packed"), "good"), ` ${t("packed_is", { n: bundle.count, age: ago(bundle.at), size: kilobytes(bundle.size) })}`] : [badge(t("not_packed"), "watch"), ` ${t("never_packed")}`]), said, packing),
    rows.length ? find(rows, go) : null,
    days.map((day) => [h("h2", {}, dayTitle(day)), h("ul", { class: "links" }, rows.filter((row) => row.data.day === day).map(visitLink))]),
    bundle && !rows.length ? notice("info", p(t("no_visits"))) : null,
    bundle && !(await stays()) ? unpromised(refresh) : null);
}

function dayTitle(day) {
  const words = dayWords(day);
  return day === new Date().toISOString().slice(0, 10) ? `${t("today")}, ${words}` : words;
}

function visitLink(row) {
  const { site, kind_word: kind } = row.data;
  const state = row.gone || (row.moved && !row.left) ? badge(t("changed"), "watch") : row.left ? badge(t("logged"), "good") : row.begun ? badge(t("under_way"), "watch") : null;
  return h("li", {}, h("a", { href: `#/visit/${row.key}` }, h("span", { class: "grow" }, h("strong", {}, `${site.code} ${site.name}`), h("br"), h("span", { class: "quiet" }, [kind, site.village].filter(Boolean).join(" · "))), state));
}

// The label's short code, scanned or typed, leads to the visit.
function find(rows, go) {
  const said = h("div", { role: "status" });
  function open(text) {
    const code = codeOf(text);
    const names = (row) => [row.data.unit?.label, row.data.unit?.serial, row.data.site.code].filter(Boolean).map((one) => one.toUpperCase());
    // A unit may be on two visits: the one that is still to be made, and of those the earlier, comes first.
    const over = (row) => Number(Boolean(row.left || row.gone || row.data.state === "logged"));
    const [found] = rows.filter((row) => names(row).includes(code)).sort((a, b) => over(a) - over(b));
    if (found) return go(`#/visit/${found.key}`);
    // A sound code of a unit that is not packed is no slip; one whose check sign does not fit, or nearly ours, is.
    const near = rows.some((row) => names(row).some((one) => oneApart(one, code)));
    said.replaceChildren(notice("watch", p(!checks(code) && (near || LABEL.test(code)) ? t("code_wrong") : t("code_unknown"))));
  }
  const input = h("input", { class: "input figure", id: "label-code", type: "text", autocapitalize: "characters", autocomplete: "off", enterkeyhint: "go" });
  const form = h("form", { class: "find", onsubmit: (event) => { event.preventDefault(); if (input.value.trim()) open(input.value); } },
    h("label", { for: "label-code" }, t("code")), h("span", { class: "with-button" }, input, h("button", { class: "button" }, t("open_visit"))));
  return h("details", { class: "more find-open" }, h("summary", {}, t("find")), canScan() ? scanner(open) : h("p", { class: "hint" }, t("scan_not")), form, said);
}

export async function waitingScreen({ refresh }) {
  const { waiting, pictures, refused, toSettle, bytes } = await holding();
  const state = sending(), sites = new Map((await all("visits")).map((row) => [row.key, row]));
  const photos = new Map((await all("photos")).map((photo) => [photo.key, photo]));
  const name = (piece) => {
    const row = sites.get(piece.visit), step = row?.procedure?.steps.find((s) => s.code === piece.step);
    return `${row?.data.site.code || ""} ${step?.title || t(`kind_${piece.kind}`)}`;
  };
  return h("section", {}, h("p", { class: "field-where" }, link(t("home"), "#/", { class: "button button-plain" })), h("h1", { tabindex: -1 }, t("outbox")),
    state.trouble === "sign_in" ? notice("watch", p(t("log_in_to_send")), p(link(t("log_in"), "/people/log-in/?next=/field/"))) : null,
    state.trouble === "shut_out" ? notice("bad", p(t("shut_out"))) : null,
    waiting.length || pictures.length ? notice("info", p(t("waiting_is", { n: waiting.length, photos: pictures.length, size: kilobytes(bytes) })), state.trouble === "network" ? p(t("offline")) : null) : notice("good", p(t("all_sent"))),
    h("div", { class: "buttons" }, button(state.busy ? t("sending") : t("send"), async () => { await send(); refresh(); }, { class: "button button-main", disabled: state.busy })),
    refused.length ? [h("h2", {}, t("refused")), p(t("refused_note")), h("ul", { class: "links" }, refused.map((piece) => h("li", {}, h("a", { href: piece.kind === "step" ? `#/visit/${piece.visit}/step/${piece.step}` : `#/visit/${piece.visit}` },
      h("span", { class: "grow" }, h("strong", {}, name(piece)), h("br"), piece.sentence)),
    piece.kind === "step" ? null : button(t("put_right"), async () => { await mark(piece.key, { mended: true }); refresh(); }))))] : null,
    toSettle.length ? [h("h2", {}, t("settled_by_person")), p(t("to_settle"))] : null,
    waiting.length ? [h("h2", {}, t("still_here")), h("ul", { class: "links plain-list" }, [...waiting].sort((a, b) => a.visit.localeCompare(b.visit) || a.seq - b.seq).slice(0, 60).map((piece) => h("li", {}, name(piece))))] : null,
    pictures.length ? [h("h2", {}, t("photos")), h("ul", { class: "links plain-list" }, pictures.map((piece) => h("li", {}, h("label", { class: "progress" }, h("span", {}, name(piece)), h("progress", { max: photos.get(piece.key).size, value: hereBytes(photos.get(piece.key)) })))))] : null,
    h("p", { class: "quiet small" }, t("app", { n: APP })));
}

function pinField(id, label) {
  return h("div", { class: "field" }, h("label", { for: id }, label), h("input", { class: "input figure", id, type: "password", inputmode: "numeric", pattern: "[0-9]*", minlength: 4, maxlength: 8, autocomplete: "off" }));
}

// Signing this telephone in (with the network), or opening it with its PIN.
export async function lockScreen({ opened, bundle }) {
  const said = h("div", { role: "status" });
  const old = bundle && daysLeft(bundle) <= 0;
  if ((await isSet()) && !old) {
    const form = h("form", { class: "pin", onsubmit: async (event) => {
      event.preventDefault();
      const wait = await mustWait();
      if (wait) return said.replaceChildren(notice("bad", p(t("pin_wait", { n: wait }))));
      if (await unlock(form.querySelector("input").value)) return opened();
      form.querySelector("input").value = "";
      said.replaceChildren(notice("bad", p(t("pin_wrong"))));
    } }, pinField("pin", t("pin_enter")), said, h("button", { class: "button button-main button-wide" }, t("pin_open")));
    return h("section", { class: "narrow" }, h("h1", { tabindex: -1 }, bundle?.person?.name || t("title")), form,
      h("p", { class: "hint" }, t("pin_forgot"), " ", h("a", { href: "#/sign-in" }, t("sign_in_again"))));
  }
  return signInScreen({ opened, old });
}

export async function signInScreen({ opened, old = false }) {
  const said = h("div", { role: "status" });
  let who = null;
  try {
    who = (await ask("who/", { plain: true })).found;
  } catch (trouble) {
    return h("section", { class: "narrow" }, h("h1", { tabindex: -1 }, t("title")), old ? notice("watch", p(t("pin_old"))) : null,
      trouble.status ? h("div", { class: "stack" }, p(t("sign_in_first")), p(link(t("log_in"), "/people/log-in/?next=/field/", { class: "button button-main button-wide" })))
        : notice("watch", p(t("sign_in_needs_signal"))), h("div", { class: "buttons" }, button(t("try_again"), () => location.reload())));
  }
  const form = h("form", { class: "pin", onsubmit: async (event) => {
    event.preventDefault();
    const [one, two] = [...form.querySelectorAll("input")].map((input) => input.value);
    if (!/^\d{4,8}$/.test(one)) return said.replaceChildren(notice("bad", p(t("pin_short"))));
    if (one !== two) return said.replaceChildren(notice("bad", p(t("pin_differ"))));
    try {
      const body = JSON.stringify({ key: await device(), name: navigator.userAgentData?.platform || navigator.platform || "", app: APP });
      const { found } = await ask("devices/", { method: "POST", body, plain: true, headers: { "Content-Type": "application/json", "X-CSRFToken": who.csrf } });
      await setPin(one, found.token);
    } catch (trouble) {
      return said.replaceChildren(notice("bad", p(trouble.status ? trouble.message : t("pack_failed"))));
    }
    await pack().catch(() => {});
    soon(0);
    opened();
  } }, pinField("pin-one", t("pin_set")), pinField("pin-two", t("pin_again")), said, h("button", { class: "button button-main button-wide" }, t("pin_keep")));
  return h("section", { class: "narrow" }, h("h1", { tabindex: -1 }, t("pin_title")), facts([t("person"), who.name]), p(t("pin_why")), form);
}

export const lock = async (after) => {
  await lockNow();
  after();
};
export const bundleNow = () => get("keep", "bundle");
