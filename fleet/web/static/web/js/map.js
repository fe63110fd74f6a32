// A map of places that needs no network: own world outline, grid of degrees, marks told apart by shape and colour.
// Leaflet (window.L) is loaded before this module. The list beside the map holds the same places for the keyboard.

const LISTED = 200; // rows of the list; a longer one helps nobody
const NAMED = 25; // with fewer places in view than this, their names stand on the map
const WORST_FIRST = ["danger", "bad", "watch", "unsure", "idle", "info", "plain", "good"];

// Outlines in a box from -1 to 1, as in the badges.
const SHAPES = {
  good: (c, x, y, r) => c.arc(x, y, r, 0, 2 * Math.PI),
  info: (c, x, y, r) => c.arc(x, y, r, 0, 2 * Math.PI),
  plain: (c, x, y, r) => c.arc(x, y, r, 0, 2 * Math.PI),
  watch: (c, x, y, r) => corners(c, x, y, r * 1.15, [[0, -1], [1, 0.8], [-1, 0.8]]),
  bad: (c, x, y, r) =>
    corners(c, x, y, r * 1.05, [[-.42, -1], [.42, -1], [1, -.42], [1, .42], [.42, 1], [-.42, 1], [-1, .42], [-1, -.42]]),
  danger: (c, x, y, r) => corners(c, x, y, r * 1.4, [[.35, -1.1], [-.9, .3], [-.12, .3], [-.4, 1.1], [.9, -.35], [.15, -.35]]),
  unsure: (c, x, y, r) => corners(c, x, y, r * 1.2, [[0, -1], [1, 0], [0, 1], [-1, 0]]),
  idle: (c, x, y, r) => corners(c, x, y, r * 0.95, [[-1, -1], [1, -1], [1, 1], [-1, 1]]),
};
function corners(c, x, y, r, points) {
  points.forEach(([dx, dy], i) => c[i ? "lineTo" : "moveTo"](x + dx * r, y + dy * r));
  c.closePath();
}

function colours() {
  const style = getComputedStyle(document.documentElement);
  const get = (name) => style.getPropertyValue(name).trim();
  return {
    surface: get("--surface"), ink: get("--ink"), land: get("--map-land"), border: get("--map-border"),
    grid: get("--map-grid"), onTone: get("--on-tone"),
    good: get("--good"), watch: get("--watch"), bad: get("--bad"), danger: get("--danger"), unsure: get("--unsure"),
    idle: get("--idle"), plain: get("--idle"), info: get("--accent"),
  };
}

function makeMark(L) {
  L.Canvas.include({
    _drawMark(layer) {
      const c = this._ctx;
      const { x, y } = layer._point;
      const { tone, count } = layer.place;
      const inks = layer.options.inks();
      c.beginPath();
      (SHAPES[tone] ?? SHAPES.plain)(c, x, y, layer._radius);
      c.fillStyle = inks[tone] ?? inks.plain;
      c.fill();
      c.lineWidth = layer.options.picked ? 4 : 1.75;
      c.strokeStyle = layer.options.picked ? inks.ink : inks.surface;
      c.stroke();
      if (count > 1) {
        c.fillStyle = inks.onTone;
        c.font = "600 12px system-ui, sans-serif";
        c.textAlign = "center";
        c.textBaseline = "middle";
        c.fillText(count > 9999 ? `${Math.round(count / 1000)}k` : String(count), x, y);
      }
    },
  });
  return L.CircleMarker.extend({ _updatePath() { this._renderer._drawMark(this); } });
}

function say(words, key, n) {
  return (words[key] ?? "").replace("%(n)s", new Intl.NumberFormat(document.documentElement.lang).format(n));
}

function place(feature) {
  const p = feature.properties ?? {};
  const [lng, lat] = feature.geometry.coordinates;
  return { lat, lng, name: p.name ?? "", address: p.address ?? "", tone: p.tone ?? "plain", state: p.state ?? "",
           note: p.note ?? "", count: p.count ?? 1 };
}

function setUp(element) {
  const L = window.L;
  const words = JSON.parse(element.dataset.words);
  const part = element.closest(".map-part");
  const list = part.querySelector(".map-list");
  const counted = part.querySelector(".map-count");
  const Mark = makeMark(L);
  let inks = colours();

  const map = L.map(element, {
    preferCanvas: true, zoomControl: false, attributionControl: false, minZoom: 2, maxZoom: 18, worldCopyJump: true,
    zoomAnimation: !matchMedia("(prefers-reduced-motion: reduce)").matches, fadeAnimation: false,
  });
  L.control.zoom({ zoomInTitle: words.in, zoomOutTitle: words.out, zoomInText: "+", zoomOutText: "−" }).addTo(map);
  L.control.scale({ imperial: false }).addTo(map);
  const under = L.canvas({ pane: "tilePane", padding: 0.3 });
  const over = L.canvas({ padding: 0.3, tolerance: 12 });
  const marks = L.layerGroup().addTo(map);
  const grid = L.layerGroup().addTo(map);
  let outline = null;
  let shown = [];

  function paintOutline() {
    outline?.setStyle({ fillColor: inks.land, fillOpacity: 1, color: inks.border, weight: 1 });
  }

  async function loadOutline() {
    if (element.dataset.tiles) {
      L.tileLayer(element.dataset.tiles, { maxZoom: 18, attribution: element.dataset.credit }).addTo(map);
      return;
    }
    const answer = await fetch(element.dataset.outline);
    outline = L.geoJSON(await answer.json(), { renderer: under, interactive: false }).addTo(map);
    paintOutline();
    outline.bringToBack();
  }

  function drawGrid() {
    grid.clearLayers();
    if (element.dataset.tiles) return;
    const zoom = map.getZoom();
    const step = zoom < 4 ? 20 : zoom < 6 ? 5 : zoom < 8 ? 2 : zoom < 10 ? 0.5 : zoom < 12 ? 0.1 : 0.02;
    const bounds = map.getBounds().pad(0.3);
    const style = { renderer: under, interactive: false, color: inks.grid, weight: 1 };
    const first = (edge) => Math.ceil(edge / step) * step;
    const digits = step < 0.1 ? 2 : step < 1 ? 1 : 0;
    const view = map.getBounds();
    const word = (value, sides) => `${Math.abs(value).toFixed(digits)}° ${value < 0 ? sides[1] : sides[0]}`;
    const label = (at, text, anchor) => L.marker(at, {
      interactive: false, keyboard: false,
      icon: L.divIcon({ className: "map-degree", html: document.createTextNode(text).textContent, iconSize: null, iconAnchor: anchor }),
    }).addTo(grid);
    for (let lat = Math.max(first(bounds.getSouth()), -80); lat <= Math.min(bounds.getNorth(), 80); lat += step) {
      L.polyline([[lat, bounds.getWest()], [lat, bounds.getEast()]], style).addTo(grid);
      if (view.getSouth() < lat && lat < view.getNorth()) label([lat, view.getEast()], word(lat, "NS"), [52, 16]);
    }
    for (let lng = first(bounds.getWest()); lng <= bounds.getEast(); lng += step) {
      L.polyline([[bounds.getSouth(), lng], [bounds.getNorth(), lng]], style).addTo(grid);
      const round = ((lng + 540) % 360) - 180;
      if (view.getWest() < lng && lng < view.getEast()) label([view.getNorth(), lng], word(round, "EW"), [-4, -4]);
    }
  }

  function popupOf(p) {
    const box = document.createElement("div");
    const name = document.createElement("p");
    const strong = document.createElement("strong");
    strong.textContent = p.name;
    name.append(strong);
    const state = document.createElement("p");
    state.textContent = [p.state, p.note].filter(Boolean).join(" · ");
    box.append(name, state);
    if (p.address) {
      const link = document.createElement("a");
      link.href = p.address;
      link.textContent = words.open;
      box.append(link);
    }
    return box;
  }

  function drawMarks(places) {
    marks.clearLayers();
    // The worst on top.
    const ordered = [...places].sort((a, b) => WORST_FIRST.indexOf(b.tone) - WORST_FIRST.indexOf(a.tone));
    shown = ordered.map((p) => {
      const mark = new Mark([p.lat, p.lng], {
        renderer: over, radius: p.count > 1 ? Math.min(12 + 2 * Math.log2(p.count), 26) : 8, inks: () => inks,
      });
      mark.place = p;
      if (p.count > 1) mark.on("click", () => map.setView([p.lat, p.lng], Math.min(map.getZoom() + 2, 18)));
      else mark.bindPopup(() => popupOf(p));
      mark.bindTooltip(p.count > 1 ? say(words, "many", p.count) : `${p.name}: ${p.state}`, { offset: [10, 0] });
      mark.addTo(marks);
      return { p, mark };
    });
  }

  function nameMarks() {
    const view = map.getBounds();
    const inView = shown.filter(({ p }) => view.contains([p.lat, p.lng]));
    for (const { p, mark } of shown) {
      const named = inView.length <= NAMED && map.getZoom() >= 8 && p.count === 1;
      if (named === mark.named) continue;
      mark.named = named;
      mark.unbindTooltip();
      mark.bindTooltip(named ? p.name : p.count > 1 ? say(words, "many", p.count) : `${p.name}: ${p.state}`,
        named ? { permanent: true, direction: "right", offset: [8, 0], className: "map-name" } : { offset: [10, 0] });
    }
    return inView;
  }

  function pick(mark, on) {
    mark.options.picked = on;
    mark.redraw();
    if (on) mark.bringToFront();
  }

  function fillList() {
    const inView = nameMarks().filter(({ p }) => p.count === 1);
    const rank = ({ p }) => WORST_FIRST.indexOf(p.tone);
    inView.sort((a, b) => rank(a) - rank(b) || a.p.name.localeCompare(b.p.name));
    const total = shown.reduce((sum, { p }) => sum + p.count, 0);
    counted.textContent = total === 0 ? words.none : say(words, "shown", inView.length);
    if (inView.length > LISTED) counted.textContent += `, ${say(words, "more", inView.length - LISTED)}`;
    const had = list.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    list.replaceChildren(...inView.slice(0, LISTED).map(({ p, mark }) => {
      const row = document.createElement("li");
      const link = document.createElement("a");
      if (p.address) link.href = p.address;
      const text = document.createElement("span");
      text.className = "grow";
      const name = document.createElement("strong");
      name.textContent = p.name;
      const state = document.createElement("span");
      state.className = `state tone-${p.tone}`;
      state.append(shapeOf(p.tone), [p.state, p.note].filter(Boolean).join(" · "));
      text.append(name, document.createElement("br"), state);
      link.append(text);
      link.addEventListener("focus", () => pick(mark, true));
      link.addEventListener("blur", () => pick(mark, false));
      link.addEventListener("mouseenter", () => pick(mark, true));
      link.addEventListener("mouseleave", () => pick(mark, false));
      row.append(link);
      return row;
    }));
    if (had) list.querySelector(`a[href="${CSS.escape(had)}"]`)?.focus();
  }

  function shapeOf(tone) {
    const canvas = document.createElement("canvas");
    const scale = 2;
    canvas.width = canvas.height = 16 * scale;
    canvas.className = "map-shape";
    const c = canvas.getContext("2d");
    c.scale(scale, scale);
    c.beginPath();
    (SHAPES[tone] ?? SHAPES.plain)(c, 8, 8, 6);
    c.fillStyle = inks[tone] ?? inks.plain;
    c.fill();
    return canvas;
  }

  async function loadPlaces() {
    const address = new URL(element.dataset.points, location.href);
    if (element.dataset.byView) {
      const view = map.getBounds();
      address.searchParams.set("box", [view.getWest(), view.getSouth(), view.getEast(), view.getNorth()].map((v) => v.toFixed(3)).join(","));
      address.searchParams.set("zoom", map.getZoom());
    }
    try {
      const answer = await fetch(address, { headers: { Accept: "application/geo+json, application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const found = await answer.json();
      return found.features.filter((f) => f.geometry?.type === "Point").map(place);
    } catch {
      counted.textContent = words.failed;
      return null;
    }
  }

  function openAt(places) {
    if (element.dataset.box) {
      const [west, south, east, north] = element.dataset.box.split(",").map(Number);
      map.fitBounds([[south, west], [north, east]]);
    } else if (places?.length) {
      map.fitBounds(L.latLngBounds(places.map((p) => [p.lat, p.lng])).pad(0.1), { maxZoom: 11 });
    } else {
      map.setView([5, 20], 3);
    }
  }

  async function start() {
    let places = null;
    if (element.dataset.byView && element.dataset.box) openAt(null);
    else if (element.dataset.byView) map.setView([5, 20], 3);
    places = await loadPlaces();
    if (!element.dataset.byView) openAt(places);
    await loadOutline();
    drawGrid();
    if (places) {
      drawMarks(places);
      fillList();
    }
    let waiting = null;
    map.on("moveend", () => {
      clearTimeout(waiting);
      waiting = setTimeout(async () => {
        drawGrid();
        if (element.dataset.byView) {
          const fresh = await loadPlaces();
          if (fresh) drawMarks(fresh);
          else return;
        }
        fillList();
      }, 150);
    });
    element.dataset.ready = "yes";
  }

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    inks = colours();
    paintOutline();
    drawGrid();
    marks.eachLayer((mark) => mark.redraw());
    fillList();
  });
  start();
}

for (const element of document.querySelectorAll("[data-map]:not([data-ready])")) setUp(element);
