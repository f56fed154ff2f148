// The picture of a segment: deep zoom, marks, keys, and an address that can be mailed.

import { clamp, geometry, tileSource } from "./viewer-picture.js";
import { drawMarks, nearest } from "./viewer-marks.js";

const host = document.getElementById("viewer");
const OSD = window.OpenSeadragon;
if (host && OSD) start().catch(fail);

async function start() {
  const segment = await json(host.dataset.segment);
  const glass = document.getElementById("glass");
  host.hidden = false;
  document.getElementById("still").hidden = true;
  const geo = geometry(segment);
  const web = document.createElement("div");
  web.className = "web";
  const canvas = document.createElement("canvas");
  canvas.className = "over";
  glass.append(web, canvas);
  keepStylesOut();
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const viewer = new OSD.Viewer({
    element: web,
    tileSources: tileSource(OSD, segment, host.dataset.layer),
    drawer: "canvas",
    prefixUrl: "",
    showNavigationControl: false,
    keyboardNavEnabled: false,
    tabIndex: -1,
    imageSmoothingEnabled: false,
    animationTime: still ? 0 : 0.25,
    gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true },
    gestureSettingsTouch: { clickToZoom: false, dblClickToZoom: true },
    minZoomImageRatio: 0.9,
    minPixelRatio: 0.9,
    maxZoomPixelRatio: 24,
    visibilityRatio: 0.3,
    maxImageCacheCount: 600,
  });
  const it = { segment, geo, viewer, glass, canvas, layer: host.dataset.layer, found: {}, chosen: null, whole: false };
  it.toPixel = (x, y) => viewer.viewport.pixelFromPoint(new OSD.Point(x, y), true);
  it.draw = () => drawMarks(canvas, it.found, it.chosen, geo, it.toPixel);
  viewer.addHandler("update-viewport", it.draw);
  viewer.addHandler("animation-finish", () => settled(it));
  viewer.addHandler("tile-load-failed", () => say("Some of the picture could not be fetched; reload the page."));
  viewer.addHandler("canvas-scroll", (event) => {
    if (!glass.contains(document.activeElement)) {
      event.preventDefaultAction = true;
      event.preventDefault = false;
    }
  });
  viewer.addHandler("canvas-press", () => glass.focus({ preventScroll: true }));
  viewer.addHandler("canvas-click", (event) => event.quick && clicked(it, event.position));
  viewer.addOnceHandler("open", () => opened(it));
  listen(it);
}

// The viewer would put a style element into the page, which the page's policy refuses; it leaves out what it finds there
// already, and an element of no namespace has no effect.
function keepStylesOut() {
  const inert = document.createElementNS("", "style");
  inert.setAttribute("data-openseadragon-mobile-css", "true");
  document.head.append(inert);
}

async function opened(it) {
  const at = /^#at=([\d.]+),(-?[\d.]+),([\d.]+)$/.exec(window.location.hash);
  if (at) lookAt(it, Number(at[1]), Number(at[2]), Number(at[3]) / it.geo.wide, true);
  else fullWidth(it, it.segment.from_m, true);
  if (host.dataset.mark) {
    const told = await json(`${host.dataset.marks}/${encodeURIComponent(host.dataset.mark)}`).catch(() => null);
    if (told) {
      it.chosen = told.mark;
      if (!at) goTo(it, told.mark, true);
    }
  }
  await settled(it);
}

// Buttons, keys, and the links that would load the page anew.
function listen(it) {
  for (const button of host.querySelectorAll("button[data-do]")) {
    button.addEventListener("click", () => act(it, button.dataset.do));
  }
  const keys = {
    ArrowLeft: "head", ArrowRight: "tail", ArrowUp: "up", ArrowDown: "down",
    "+": "in", "=": "in", "-": "out", "0": "width", n: "next", p: "previous",
  };
  it.glass.addEventListener("keydown", (event) => {
    const what = keys[event.key];
    if (!what || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act(it, what);
  });
  for (const link of host.querySelectorAll("a[data-layer]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      showLayer(it, link.dataset.layer);
    });
  }
  for (const link of document.querySelectorAll("a[data-mark]")) {
    link.addEventListener("click", async (event) => {
      event.preventDefault();
      const told = await json(`${host.dataset.marks}/${encodeURIComponent(link.dataset.mark)}`);
      choose(it, told.mark);
      it.glass.scrollIntoView({ block: "nearest" });
      it.glass.focus({ preventScroll: true });
    });
  }
  new ResizeObserver(() => it.draw()).observe(it.glass);
}

function act(it, what) {
  const { viewport } = it.viewer;
  arrive(viewport);
  const bounds = viewport.getBounds();
  const moves = { head: [-1, 0], tail: [1, 0], up: [0, -1], down: [0, 1] };
  if (moves[what]) {
    const [x, y] = moves[what];
    viewport.panBy(new OSD.Point((x * bounds.width) / 4, (y * bounds.height) / 4));
  } else if (what === "in" || what === "out") {
    viewport.zoomBy(what === "in" ? 1.5 : 1 / 1.5);
  } else if (what === "width") {
    fullWidth(it, it.geo.along(viewport.getCenter().x), false, true);
  } else if (what === "all") {
    viewport.fitBounds(new OSD.Rect(0, it.geo.y(it.segment.width_mm), it.geo.length, it.geo.width));
  } else {
    step(it, what === "previous");
    return;
  }
  viewport.applyConstraints();
}

// From edge to edge across, with a place along at the left or in the middle.
function fullWidth(it, along, immediately, middle = false) {
  const tall = it.geo.width * 1.06;
  const { x: w, y: h } = it.viewer.viewport.getContainerSize();
  const wide = Math.min((tall * w) / h, Math.max(it.geo.length, tall));
  const left = it.geo.x(along) - (middle ? wide / 2 : 0);
  it.viewer.viewport.fitBounds(new OSD.Rect(left, it.geo.y(it.segment.width_mm * 1.03), wide, tall), immediately);
}

// A motion that begins while another goes on would end beside what it was to show: the other one is over first.
function arrive(viewport) {
  viewport.fitBounds(viewport.getBounds(), true);
}

function lookAt(it, along, across, wide, immediately) {
  arrive(it.viewer.viewport);
  const { x: w, y: h } = it.viewer.viewport.getContainerSize();
  const tall = (wide * h) / w;
  const box = new OSD.Rect(it.geo.x(along) - wide / 2, it.geo.y(across) - tall / 2, wide, tall);
  it.viewer.viewport.fitBounds(box, immediately);
}

function goTo(it, mark, immediately = false) {
  const size = Math.max(mark.length_mm, mark.width_mm, 1) / 1000;
  const now = it.viewer.viewport.getBounds().width;
  const wide = clamp(now, (size * 8) / it.geo.wide, Math.max(size * 60, 0.15) / it.geo.wide);
  lookAt(it, mark.along_m, mark.across_mm, wide, immediately);
}

async function settled(it) {
  const bounds = it.viewer.viewport.getBounds(true);
  const centre = { along: it.geo.along(bounds.x + bounds.width / 2), across: it.geo.across(bounds.y + bounds.height / 2) };
  const view = bounds.width * it.geo.wide;
  const hash = `#at=${Math.max(centre.along, 0).toFixed(4)},${centre.across.toFixed(1)},${view.toPrecision(4)}`;
  window.history.replaceState(null, "", window.location.pathname + window.location.search + hash);
  tellPlace(it, centre, view);
  await fetchMarks(it, bounds);
  tellPlace(it, centre, view);
}

function tellPlace(it, centre, view) {
  const length = view < 1 ? `${(view * 1000).toFixed(0)} mm` : `${view.toFixed(2)} m`;
  const place = `${centre.along.toFixed(3)} m along, ${centre.across.toFixed(0)} mm across`;
  say(`Centre ${place}; the picture shows ${length} of length. ${counted(it)}`);
}

function counted(it) {
  if (it.found.found === undefined) return "";
  const many = `${it.found.found.toLocaleString("en-GB")} ${it.found.found === 1 ? "mark" : "marks"}`;
  if (it.found.binned) return `${many} here, counted together in squares: zoom in for each.`;
  return it.whole ? `${many} drawn in this segment.` : `${many} drawn here.`;
}

// All marks of the segment where they are few; else those in view and a little round it.
async function fetchMarks(it, bounds) {
  if (it.whole || it.first) return;
  const query = new URLSearchParams(host.dataset.query);
  const [low, high] = [it.segment.from_m, it.segment.to_m];
  const pad = it.asked ? 0.2 : 1e6;
  const from = it.geo.along(bounds.x - bounds.width * pad);
  const to = it.geo.along(bounds.x + bounds.width * (1 + pad));
  query.set("from_m", Math.max(from, low, Number(query.get("from_m") || 0)).toFixed(4));
  if (it.segment.segment < it.segment.of || to < high || query.has("to_m")) {
    query.set("to_m", Math.min(to, high, Number(query.get("to_m") || high)).toFixed(4));
  }
  it.first = !it.asked;
  it.asked?.abort();
  it.asked = new AbortController();
  try {
    it.found = await json(`${host.dataset.marks}?${query}`, it.asked.signal);
    it.whole = pad > 1 && !it.found.binned;
    it.draw();
  } catch (error) {
    if (error.name !== "AbortError") say("The marks could not be fetched; reload the page.");
  }
  it.first = false;
}

async function clicked(it, position) {
  const hit = nearest(it.found, it.geo, it.toPixel, position);
  if (!hit) return;
  if (hit.bin) {
    const { from_m, to_m, from_mm, to_mm } = hit.bin;
    lookAt(it, (from_m + to_m) / 2, (from_mm + to_mm) / 2, ((to_m - from_m) * 4) / it.geo.wide, false);
    return;
  }
  const told = await json(`${host.dataset.marks}/${encodeURIComponent(hit.mark.id)}`);
  choose(it, told.mark, { move: false });
}

async function step(it, back) {
  const query = new URLSearchParams(host.dataset.query);
  if (it.chosen) query.set("after", it.chosen.id);
  else query.set(back ? "to_m" : "from_m", (back ? it.segment.to_m : it.segment.from_m).toFixed(4));
  if (back) query.set("back", "yes");
  const told = await json(`${host.dataset.marks}/next?${query}`);
  if (!told.mark) {
    announce([words("p", back ? "No mark before this one." : "No mark after this one.")], true);
  } else if (told.mark.segment !== it.segment.segment) {
    const filters = host.dataset.query ? `&${host.dataset.query}` : "";
    window.location.assign(`${told.mark.page}${filters}`);
  } else {
    choose(it, told.mark, { number: it.chosen ? `${told.number} of ${told.of}` : "" });
  }
}

function choose(it, mark, { move = true, number = "" } = {}) {
  it.chosen = mark;
  const search = new URLSearchParams(window.location.search);
  search.set("mark", mark.id);
  window.history.replaceState(null, "", `${window.location.pathname}?${search}${window.location.hash}`);
  if (move) goTo(it, mark);
  it.draw();
  announce(facts(mark, number), false);
  for (const row of document.querySelectorAll("#table tbody tr")) {
    row.toggleAttribute("aria-selected", row.querySelector("a[data-mark]")?.dataset.mark === mark.id);
  }
}

function facts(mark, number) {
  const sign = mark.polarity === "dark" ? "−" : "+";
  const list = document.createElement("dl");
  list.className = "pairs";
  const said = {
    Kind: `${mark.kind}, ${mark.polarity}`,
    Place: `${mark.along_m.toFixed(3)} m along, ${mark.across_mm.toFixed(1)} mm across`,
    "Length × width": `${mark.length_mm.toFixed(2)} × ${mark.width_mm.toFixed(2)} mm`,
    Contrast: `${sign}${(mark.contrast * 100).toFixed(1)} %`,
    "Stands out": mark.snr === null ? "without noise" : `${mark.snr.toFixed(1)} × noise`,
    "Named by": mark.rule,
    "Seen by": mark.source,
    ...(number ? { Number: number } : {}),
  };
  for (const [name, value] of Object.entries(said)) {
    const row = document.createElement("div");
    row.append(words("dt", name), words("dd", value));
    list.append(row);
  }
  if (!mark.chip) return [list, words("p", "No chip of this mark was kept.")];
  const chip = document.createElement("img");
  Object.assign(chip, { src: mark.chip, alt: `Chip of the mark: ${mark.words}`, className: "chip" });
  return [list, chip];
}

function announce(parts, keep) {
  const chosen = document.getElementById("chosen");
  chosen.hidden = false;
  chosen.querySelector(".told-end")?.remove();
  if (keep) {
    parts[0].className = "told-end";
    chosen.append(...parts);
  } else {
    chosen.replaceChildren(words("h3", "Mark chosen"), ...parts);
  }
}

function showLayer(it, layer) {
  it.layer = layer;
  const bounds = it.viewer.viewport.getBounds();
  it.viewer.addTiledImage({
    tileSource: tileSource(OSD, it.segment, layer),
    index: 0,
    replace: true,
    success: () => it.viewer.viewport.fitBounds(bounds, true),
  });
  const search = new URLSearchParams(window.location.search);
  search.set("layer", layer);
  window.history.replaceState(null, "", `${window.location.pathname}?${search}${window.location.hash}`);
  for (const link of host.querySelectorAll("a[data-layer]")) {
    if (link.dataset.layer === layer) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
}

function words(tag, text) {
  const element = document.createElement(tag);
  element.textContent = text;
  return element;
}

async function json(address, signal) {
  const answer = await fetch(address, { signal, headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return answer.json();
}

function say(text) {
  document.getElementById("place").textContent = text;
}

function fail(error) {
  host.hidden = true;
  document.getElementById("still").hidden = false;
  throw error;
}
