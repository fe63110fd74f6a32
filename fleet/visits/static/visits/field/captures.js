// The controls of a step. Each tells every change as it is typed; what is kept is the very text.
import { pad } from "../mark.js";
import { stopwatch } from "../stopwatch.js";
import { button, h } from "./dom.js";
import { howMany } from "./rules.js";
import { spot } from "./spot.js";
import { scanner } from "./scan.js";
import { liked, shownIn, t, typedIn } from "./words.js";

// Numbers before words.
const ORDER = ["spot", "buckets", "number", "yes_no", "choice", "clock", "serial", "photo", "note", "mark"];
export const inOrder = (captures) => [...captures].sort((a, b) => ORDER.indexOf(a.kind) - ORDER.indexOf(b.kind));

let ids = 0;
const newId = () => `c${++ids}`;
const optional = (capture) => (capture.required === false ? h("span", { class: "optional" }, t("optional")) : null);

// `unit`: the house's own; the field shows the one the person likes and tells the text with that unit behind.
export function numberInput({ label, unit, value, changed, note = null, numeric = true, hint = "" }) {
  const id = newId();
  const input = h("input", {
    class: numeric ? "input figure" : "input", id, type: "text", autocomplete: "off",
    value: numeric ? shownIn(value, unit) : value ?? "",
    inputmode: numeric ? "decimal" : "text", autocapitalize: numeric ? "off" : "characters", enterkeyhint: "next",
    oninput: (event) => changed(numeric ? typedIn(event.target.value, unit) : event.target.value),
  });
  return h("div", { class: "field" }, h("label", { for: id }, label, " ", note), hint ? h("p", { class: "hint" }, hint) : null,
    h("span", { class: "with-unit" }, input, unit ? h("span", { class: "unit" }, liked(unit).unit) : null));
}

function several(capture, value, changed, built, one) {
  const n = howMany(capture, built);
  if (n === 1) return one(capture.label, Array.isArray(value) ? value[0] : value, changed, optional(capture));
  const list = Array.isArray(value) ? [...value] : [];
  return h("fieldset", { class: "group" }, h("legend", {}, capture.label, " ", optional(capture)), h("div", { class: "field-row" },
    Array.from({ length: n }, (_, i) => one(`${i + 1}`, list[i], (text) => {
      list[i] = text;
      for (let k = 0; k < i; k++) list[k] ??= "";
      changed([...list]);
    }, null))));
}

export function bucketRows(rows, repeats, changed) {
  const list = Array.from({ length: Math.max(repeats, rows?.length || 0) }, (_, i) => ({ litres: "", seconds: "", ...rows?.[i] }));
  const tell = () => changed(list.map((row) => ({ ...row })));
  const words = { start: t("watch_start"), stop: t("watch_stop") };
  const place = h("div", {});
  place.append(...list.map((row, i) => {
    const [a, b] = [newId(), newId()];
    const field = (id, name, label) => h("div", { class: "field" }, h("label", { for: id }, label), h("input", {
      class: "input figure", id, type: "text", inputmode: "decimal", autocomplete: "off", value: row[name],
      oninput: (event) => {
        row[name] = event.target.value;
        tell();
      },
    }));
    const seconds = field(b, "seconds", t("seconds"));
    // The bucket stays the same one: its litres are typed once.
    const litres = field(a, "litres", t("litres"));
    litres.querySelector("input").addEventListener("change", (event) => {
      for (const [k, other] of list.entries()) {
        if (k > i && !other.litres && event.target.value) {
          other.litres = event.target.value;
          place.querySelectorAll("[data-litres]")[k].value = other.litres;
        }
      }
      tell();
    });
    litres.querySelector("input").dataset.litres = "";
    const watch = stopwatch(words, (s) => {
      const input = seconds.querySelector("input");
      input.value = s.toFixed(1);
      input.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return h("div", { class: "bucket", role: "group", "aria-label": t("fill_n", { n: i + 1 }) }, h("span", { class: "bucket-no" }, i + 1), litres, seconds, watch);
  }));
  return place;
}

function radios(capture, options, value, changed) {
  const name = newId();
  return h("fieldset", { class: "field" }, h("legend", {}, capture.label, " ", optional(capture)),
    h("div", { class: "choices big-choices" }, options.map(([code, words]) => h("label", {}, h("input", {
      type: "radio", name, value: String(code), checked: value === code, onchange: () => changed(code),
    }), h("span", {}, words)))));
}

const MAKERS = {
  number: (c, value, changed, { built }) => several(c, value, changed, built, (label, one, tell, note) =>
    numberInput({ label, unit: c.unit, value: one, changed: tell, note, hint: c.hint })),
  serial: (c, value, changed, { built }) => several(c, value, changed, built, (label, one, tell, note) => {
    const field = numberInput({ label, value: one, changed: tell, note, numeric: false });
    const scan = scanner((text) => {
      const input = field.querySelector("input");
      input.value = text;
      tell(text);
    });
    if (scan) field.append(scan);
    return field;
  }),
  buckets: (c, value, changed) => h("fieldset", { class: "group" }, h("legend", {}, c.label), bucketRows(value, c.repeats || 3, changed)),
  yes_no: (c, value, changed) => radios(c, [[true, t("yes")], [false, t("no")]], value, changed),
  choice: (c, value, changed) => radios(c, c.options.map((o) => [o.code, o.label]), value, changed),
  note(c, value, changed) {
    const id = newId();
    return h("div", { class: "field" }, h("label", { for: id }, c.label, " ", optional(c)), h("textarea", {
      id, class: "input", rows: "3", oninput: (event) => changed(event.target.value) }, value ?? ""));
  },
  clock(c, value, changed, { zone }) {
    const id = newId();
    const input = h("input", { class: "input figure", id, type: "time", value: value ?? "", oninput: (event) => changed(event.target.value) });
    const now = button(t("now"), () => {
      input.value = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(new Date());
      changed(input.value);
    });
    return h("div", { class: "field" }, h("label", { for: id }, c.label, " ", optional(c)), h("span", { class: "with-button" }, input, now));
  },
  mark(c, value, changed) {
    const box = pad({ clear: t("clear") }, Array.isArray(value) ? value : [], (lines) => changed(lines));
    box.querySelector("canvas").setAttribute("role", "img");
    box.querySelector("canvas").setAttribute("aria-label", c.label);
    return h("div", { class: "field" }, h("p", { class: "strong" }, c.label, " ", optional(c)), h("p", { class: "hint" }, t("mark_hint")), box);
  },
  photo(c, value, changed, { takePhoto, photos }) {
    const id = newId(), list = h("ul", { class: "photos" });
    const show = async () => {
      list.replaceChildren(...(await photos(c.code)).map((blob) => {
        const picture = h("img", { alt: c.label, src: URL.createObjectURL(blob) });
        picture.addEventListener("load", () => URL.revokeObjectURL(picture.src), { once: true });
        return h("li", {}, picture);
      }));
    };
    const said = h("p", { class: "hint", role: "status" });
    const input = h("input", { class: "photo-input", id, type: "file", accept: "image/*", capture: "environment", multiple: true,
      onchange: async (event) => {
        for (const file of [...event.target.files]) {
          said.textContent = t("photo_shrinking");
          said.textContent = await takePhoto(c, file);
        }
        event.target.value = "";
        show();
      } });
    show();
    return h("div", { class: "field" }, h("p", { class: "strong" }, c.label, " ", optional(c)),
      h("div", { class: "photo-pick" }, h("label", { class: "button photo-button", for: id }, t("photo_take")), input), said, list);
  },
  spot: (c, value, changed, context) => spot(c, value || {}, changed, context),
};

export function control(capture, value, changed, context) {
  const made = MAKERS[capture.kind];
  return made ? made(capture, value, changed, context) : h("p", {}, capture.label);
}
