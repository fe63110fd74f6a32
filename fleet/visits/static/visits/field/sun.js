// Face the sun: noon by the clock, bearings, a countdown for the shadow, and what the present error costs. All of it is
// read between packed figures; the network is not needed.
import { between } from "./card.js";
import { clockAt, now } from "./clock.js";
import { facts, h, link, notice, p } from "./dom.js";
import { figure, percent, read, t } from "./words.js";

const RAD = Math.PI / 180;

// The noon of today at the site, or the next one.
export function noonOf(sun, moment) {
  const seconds = moment.getTime() / 1000;
  const today = sun.noons.find((n) => Math.abs(n.at - seconds) < 12 * 3600) || sun.noons[0];
  return { today, next: sun.noons.find((n) => n.at > seconds) || sun.noons[sun.noons.length - 1], in_s: today.at - seconds };
}

// Bearing and height of the sun now, read between packed directions as vectors: near overhead bearings turn fast.
export function sunNow(sun, moment) {
  const { today } = noonOf(sun, moment);
  const minute = (moment.getTime() / 1000 - today.at) / 60, x = sun.around_min;
  if (minute < x[0] || minute > x[x.length - 1]) return null;
  const shift = sun.noons.indexOf(today);
  const at = (day) => {
    const parts = day.bearing.map((b, i) => [Math.cos(day.height[i] * RAD) * Math.sin(b * RAD), Math.cos(day.height[i] * RAD) * Math.cos(b * RAD), Math.sin(day.height[i] * RAD)]);
    return [0, 1, 2].map((k) => between(x, parts.map((one) => one[k]), minute));
  };
  const vectors = sun.days.map(at), days = sun.days.map((d) => d.shift);
  const [east, north, up] = [0, 1, 2].map((k) => between(days, vectors.map((v) => v[k]), shift));
  return { bearing: (Math.atan2(east, north) / RAD + 360) % 360, height: Math.atan2(up, Math.hypot(east, north)) / RAD };
}

export function costOf(cost, facing, faces) {
  if (!cost) return null;
  const wanted = cost.stands_azimuth ?? facing;
  const turn = ((faces - wanted + 540) % 360) - 180;
  const x = [...cost.turn.filter((a) => a < 0), 0, ...cost.turn.filter((a) => a > 0)];
  const y = x.map((a) => (a === 0 ? 0 : cost.turn_share[cost.turn.indexOf(a)]));
  return { turn, share: between(x, y, turn), beyond: Math.abs(turn) > x[x.length - 1] };
}

const gone = (seconds) => {
  const s = Math.abs(Math.round(seconds));
  return s >= 3600 ? `${Math.floor(s / 3600)} h ${String(Math.floor((s % 3600) / 60)).padStart(2, "0")} min` : `${Math.floor(s / 60)} min ${String(s % 60).padStart(2, "0")} s`;
};

export function sunScreen(row) {
  const { sun, site, cost } = row.data, facing = sun.facing;
  const count = h("p", { class: "countdown" }), standing = h("div", {});
  const { today } = noonOf(sun, now());
  function tick() {
    if (!count.isConnected && count.dataset.shown) return clearInterval(timer);
    if (count.isConnected) count.dataset.shown = "yes";
    const { in_s, next } = noonOf(sun, now());
    count.textContent = in_s > 0 ? t("noon_in", { n: gone(in_s) }) : t("noon_past", { ago: gone(in_s), n: next.clock.slice(0, 5) });
    const stands = sunNow(sun, now());
    standing.replaceChildren(stands && stands.height > 0 ? facts([t("sun_now"), `${figure(stands.bearing, 0)}° ${t("true")}` + (facing ? ` · ${figure((stands.bearing - facing.declination + 360) % 360, 0)}° ${t("compass")}` : "")], [t("sun_height_name"), `${figure(stands.height, 0)}°`]) : p(t("sun_down")));
  }
  const timer = setInterval(tick, 1000);
  const answer = h("div", { role: "status" });
  const input = h("input", { class: "input figure", id: "faces", type: "text", inputmode: "decimal", autocomplete: "off", oninput: () => {
    const typed = read(input.value);
    if (typed === null || !Number.isFinite(typed) || typed < 0 || typed > 360) return answer.replaceChildren();
    const found = costOf(cost, facing?.bearing, (typed + (facing?.declination || 0)) % 360);
    if (!found) return answer.replaceChildren(p(t("cost_unknown")));
    const words = found.share < 0.005 ? t("cost_small") : t("cost", { n: figure(Math.abs(found.turn), 0), m: percent(found.share) });
    answer.replaceChildren(notice(found.share < 0.03 ? "good" : "watch", p(t("turned_by", { n: figure(Math.abs(found.turn), 0), way: t(found.turn < 0 ? "anticlockwise" : "clockwise") })), p(words)));
  } });
  const screen = h("section", {}, h("p", { class: "field-where" }, link(t("all_steps"), `#/visit/${row.key}`, { class: "button button-plain" }), h("span", {}, site.code)), h("h1", { tabindex: -1 }, t("face")),
    h("div", { class: "card noon" }, h("p", { class: "quiet" }, t("noon_today")), h("p", { class: "noon-clock" }, today.clock), count),
    facing ? h("div", { class: "card" }, compass(facing, sunNow(sun, now())), facts([t("turn_to"), h("strong", {}, `${figure(facing.bearing, 0)}° ${t("true")} · ${figure(facing.compass, 0)}° ${t("compass")}`)],
      [t("declination_name"), `${figure(facing.declination)}°`], [t("tilt"), `${figure(facing.tilt, 0)}°`]), facing.either_way ? h("p", { class: "hint" }, t("either_way")) : null, h("p", { class: "hint" }, t("compass_steel"))) : notice("watch", p(t("no_compass"))),
    standing, h("h2", {}, t("shadow")), today.usable ? p(t("shadow_note", { way: t(today.bearing === 0 ? "shadow_south" : "shadow_north"), m: figure(today.shadow_m, 2), min: figure(today.min_per_deg) })) : p(t("shadow_overhead", { a: clockAt(new Date((today.at - 5400) * 1000), site.zone), b: clockAt(new Date((today.at + 5400) * 1000), site.zone) })),
    cost ? h("div", { class: "field" }, h("h2", {}, t("present")), h("label", { for: "faces" }, t("faces_by_compass")), h("span", { class: "with-unit" }, input, h("span", { class: "unit" }, "°")), answer) : null,
    h("details", { class: "more" }, h("summary", {}, t("fortnight")), h("table", { class: "table" }, h("caption", { class: "unseen" }, t("fortnight")), h("tbody", {}, sun.noons.map((n) => h("tr", {}, h("th", { scope: "row" }, n.day), h("td", { class: "num" }, n.clock)))))));
  tick();
  return screen;
}

// A rose with the way to face and the sun, drawn so that north is up.
function compass(facing, stands) {
  const made = h("canvas", { class: "rose", width: 480, height: 480, role: "img", "aria-label": `${t("turn_to")} ${figure(facing.bearing, 0)}° ${t("true")}` });
  requestAnimationFrame(() => {
    const pen = made.getContext("2d"), style = getComputedStyle(document.body), colour = (name) => style.getPropertyValue(name).trim();
    const point = (deg, r) => [240 + r * Math.sin(deg * RAD), 240 - r * Math.cos(deg * RAD)];
    pen.strokeStyle = colour("--edge");
    pen.lineWidth = 3;
    pen.beginPath();
    pen.arc(240, 240, 190, 0, 7);
    pen.stroke();
    for (let a = 0; a < 360; a += 15) {
      pen.beginPath();
      pen.moveTo(...point(a, 190));
      pen.lineTo(...point(a, a % 90 ? 178 : 166));
      pen.stroke();
    }
    pen.fillStyle = colour("--ink");
    pen.font = "600 34px system-ui, sans-serif";
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    [["north_letter", 0], ["east_letter", 90], ["south_letter", 180], ["west_letter", 270]].forEach(([word, a]) => pen.fillText(t(word), ...point(a, 216)));
    pen.fillStyle = pen.strokeStyle = colour("--accent");
    pen.lineWidth = 12;
    pen.beginPath();
    pen.moveTo(240, 240);
    pen.lineTo(...point(facing.bearing, 120));
    pen.stroke();
    pen.beginPath();
    pen.moveTo(...point(facing.bearing, 160));
    pen.lineTo(...point(facing.bearing - 12, 112));
    pen.lineTo(...point(facing.bearing + 12, 112));
    pen.fill();
    if (stands && stands.height > 0) {
      pen.fillStyle = colour("--watch");
      const [x, y] = point(stands.bearing, 190 * Math.cos(stands.height * RAD));
      pen.beginPath();
      pen.arc(x, y, 18, 0, 7);
      pen.fill();
    }
  });
  return made;
}
