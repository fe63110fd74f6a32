// Draws each chart of the page from the JSON beside it. The same figures stand in a table below, for those who cannot see
// the drawing, and for pages without scripts.
//
// The bundle (window.vegaEmbed) is loaded before this module. `ast` keeps it from making functions out of text, which the
// content security policy forbids; styles and tips are our own for the same reason.

const lang = document.documentElement.lang || "en";

function numbers() {
  const parts = new Intl.NumberFormat(lang, { useGrouping: true }).formatToParts(1234567.8);
  const find = (type) => parts.find((part) => part.type === type)?.value;
  return { decimal: find("decimal") ?? ".", thousands: find("group") ?? "\u202f", grouping: [3], currency: ["", ""] };
}

function times() {
  const names = (count, options, day) =>
    Array.from({ length: count }, (_, i) =>
      new Intl.DateTimeFormat(lang, { ...options, timeZone: "UTC" }).format(day(i)));
  const month = (i) => new Date(Date.UTC(2026, i, 15));
  const weekday = (i) => new Date(Date.UTC(2026, 1, 1 + i)); // 1 February 2026 is a Sunday
  return {
    dateTime: "%-d %b %Y, %H:%M", date: "%-d %b %Y", time: "%H:%M", periods: ["AM", "PM"],
    days: names(7, { weekday: "long" }, weekday), shortDays: names(7, { weekday: "short" }, weekday),
    months: names(12, { month: "long" }, month), shortMonths: names(12, { month: "short" }, month),
  };
}

// One tip for the whole page; silent to screen readers, which have the table.
const tip = document.createElement("div");
tip.className = "chart-tip";
tip.hidden = true;
tip.setAttribute("aria-hidden", "true");
document.body.append(tip);

function showTip(_handler, event, _item, value) {
  if (value === null || value === undefined || value === "") {
    tip.hidden = true;
    return;
  }
  tip.textContent = typeof value === "object" ? value.tip ?? Object.values(value).join("\n") : value;
  tip.hidden = false;
  const box = tip.getBoundingClientRect();
  tip.style.left = `${Math.max(8, Math.min(event.clientX + 14, innerWidth - box.width - 8))}px`;
  tip.style.top = `${event.clientY + 20 + box.height > innerHeight ? event.clientY - box.height - 12 : event.clientY + 20}px`;
}
addEventListener("scroll", () => (tip.hidden = true), { passive: true });
addEventListener("keydown", (event) => event.key === "Escape" && (tip.hidden = true));

async function draw(figure) {
  const place = figure.querySelector(".chart-place");
  const spec = JSON.parse(figure.querySelector("script[type='application/json']").textContent);
  try {
    await window.vegaEmbed(place, spec, {
      mode: "vega-lite", ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: showTip,
      formatLocale: numbers(), timeFormatLocale: times(),
    });
    // The place is one picture with a sentence; its hundreds of parts stay silent.
    place.querySelector("svg").setAttribute("aria-hidden", "true");
    for (const part of place.querySelectorAll("svg [role]")) part.removeAttribute("role");
    figure.classList.add("chart-drawn");
  } catch (error) {
    // The table says the same; the reason goes to the console for whoever mends it.
    console.error(error);
    figure.querySelector("details").open = true;
    place.remove();
  }
}

// Drawn when they come near the window: a page with a dozen charts opens at once, also on a cheap phone.
const soon = new IntersectionObserver((entries) => {
  for (const entry of entries) {
    if (!entry.isIntersecting) continue;
    soon.unobserve(entry.target);
    draw(entry.target);
  }
}, { rootMargin: "400px" });

export function drawAll(root = document) {
  for (const figure of root.querySelectorAll("figure.chart:not(.chart-drawn, .chart-empty)")) soon.observe(figure);
}

drawAll();
addEventListener("beforeprint", () => document.querySelectorAll("figure.chart:not(.chart-drawn, .chart-empty)").forEach(draw));
