// Wishes laid on the cut picture: a line for each knife and cross-cut in the form, moved by pointer or by keys.
const SVG = "http://www.w3.org/2000/svg";
const MM = { mm: 1, cm: 10, m: 1000, in: 25.4, '"': 25.4, ft: 304.8 };
const LENGTH = /^\s*(?:(?:(\d+)[\s-]+)?(\d+)\/(\d+)|(\d+(?:[.,]\d+)?|[.,]\d+))\s*(mm|cm|m|in|ft|")?\s*$/;
const TARGET_PX = 44;
const DECIMALS = 6;
const ROUND = 1e9;

const box = document.getElementById("cut-over");
const form = document.getElementById("wish");
const setting = JSON.parse(document.getElementById("cut-setting").textContent);
const picture = box.querySelector("img");
const [wide, tall] = [picture.width, picture.height].map((_, n) => Number(picture.getAttribute(n ? "height" : "width")));
const { frame, units } = setting;

const nice = (least) => {
  const ten = 10 ** Math.floor(Math.log10(least));
  return ten * [1, 2, 5, 10].find((one) => one * ten >= least * (1 - 1e-9));
};
const KINDS = {
  knife: {
    word: "Knife", unit: units.across, unitMm: units.across_mm, from: frame.y_from, to: frame.y_to, perMm: 1,
    first: setting.knife_first_mm, step: setting.knife_step_mm, said: "from the datum edge",
  },
  cross: {
    word: "Cross-cut", unit: units.along, unitMm: units.along_m * 1000, from: frame.x_from, to: frame.x_to, perMm: 0.001,
    first: 0, step: nice((frame.x_to - frame.x_from) / units.along_m / 1000) * units.along_m, said: "coated, from the head",
  },
};
const handles = new Map();

const make = (name, facts, parent) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(facts)) made.setAttribute(key, value);
  parent?.append(made);
  return made;
};
const layer = make("svg", { viewBox: `0 0 ${wide} ${tall}`, class: "wishes" }, box);

const clean = (value) => Math.round(value * ROUND) / ROUND;
const shown = (kind, place) => {
  const value = place / KINDS[kind].perMm / KINDS[kind].unitMm;
  return String(Number(value.toFixed(DECIMALS)));
};
const read = (kind, text) => {
  const found = LENGTH.exec(text);
  if (!found) return null;
  const [, whole, above, below, decimal, unit] = found;
  const value = decimal === undefined ? Number(whole ?? 0) + Number(above) / Number(below) : Number(decimal.replace(",", "."));
  return Number.isFinite(value) ? value * MM[unit ?? KINDS[kind].unit] * KINDS[kind].perMm : null;
};
const snapped = (kind, place) => {
  const { first, step, from, to } = KINDS[kind];
  const low = first + Math.ceil((from - first) / step + 1e-9) * step;
  const high = first + Math.floor((to - first) / step - 1e-9) * step;
  return clean(Math.min(Math.max(first + Math.round((place - first) / step) * step, low), high));
};
const xOf = (along) => wide * (frame.left + (frame.width * (along - frame.x_from)) / (frame.x_to - frame.x_from));
const yOf = (across) => tall * (frame.top + frame.height * (1 - (across - frame.y_from) / (frame.y_to - frame.y_from)));
const placeAt = (kind, event) => {
  const rect = layer.getBoundingClientRect();
  const share = kind === "knife"
    ? 1 - ((event.clientY - rect.top) / rect.height - frame.top) / frame.height
    : ((event.clientX - rect.left) / rect.width - frame.left) / frame.width;
  return KINDS[kind].from + share * (KINDS[kind].to - KINDS[kind].from);
};

function draw(handle) {
  const { kind, group, place } = handle;
  const scale = wide / (layer.clientWidth || wide);
  const half = (TARGET_PX / 2) * scale;
  const [left, right] = [xOf(frame.x_from), xOf(frame.x_to)];
  const [top, bottom] = [yOf(frame.y_to), yOf(frame.y_from)];
  const at = kind === "knife" ? yOf(place) : xOf(place);
  const line = kind === "knife" ? { x1: left, x2: right, y1: at, y2: at } : { x1: at, x2: at, y1: top, y2: bottom };
  for (const [key, value] of Object.entries(line)) for (const one of group.querySelectorAll("line")) one.setAttribute(key, value);
  group.querySelector(".grip").setAttribute("stroke-width", 2 * half);
  const [x, y] = kind === "knife" ? [right - half, at] : [at, bottom - half];
  const r = half * 0.5;
  group.querySelector("path").setAttribute("d", `M${x - r} ${y}L${x} ${y - r}L${x + r} ${y}L${x} ${y + r}Z`);
  const text = group.querySelector("text");
  text.textContent = `${shown(kind, place)} ${KINDS[kind].unit}`;
  text.setAttribute("font-size", 14 * scale);
  const width = text.getComputedTextLength?.() || 80 * scale;
  const tx = kind === "knife" ? x - r - 6 * scale - width : Math.min(Math.max(at + 8 * scale, left), right - width);
  const ty = kind === "knife" ? at - 6 * scale : bottom - 2 * half;
  text.setAttribute("x", tx);
  text.setAttribute("y", kind === "knife" && ty - 14 * scale < top ? at + 18 * scale : ty);
  group.setAttribute("aria-valuenow", place);
  group.setAttribute("aria-valuetext", `${shown(kind, place)} ${KINDS[kind].unit} ${KINDS[kind].said}`);
}

function move(handle, place) {
  handle.place = snapped(handle.kind, place);
  handle.input.value = shown(handle.kind, handle.place);
  draw(handle);
}

function takeOff(handle) {
  handle.input.value = "";
  handle.group.remove();
  handles.delete(handle.input);
  document.getElementById(`add-${handle.kind}`).focus();
}

function onKey(handle, event) {
  const { kind } = handle;
  const { step, from, to } = KINDS[kind];
  const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
  if (by !== undefined) move(handle, handle.place + by * (event.shiftKey ? 10 : 1) * step);
  else if (event.key === "Home") move(handle, from);
  else if (event.key === "End") move(handle, to);
  else if (event.key === "Enter") form.requestSubmit();
  else if (event.key === "Escape") move(handle, handle.before);
  else if (event.key === "Delete" || event.key === "Backspace") takeOff(handle);
  else return;
  event.preventDefault();
}

function hold(kind, input, place) {
  const facts = {
    class: `handle ${kind}`, tabindex: 0, role: "slider", "aria-label": `${KINDS[kind].word} wished for`,
    "aria-orientation": kind === "knife" ? "vertical" : "horizontal",
    "aria-valuemin": KINDS[kind].from, "aria-valuemax": KINDS[kind].to, "aria-describedby": "wish-keys",
  };
  const group = make("g", facts, layer);
  make("line", { class: "grip" }, group);
  make("line", { class: "halo" }, group);
  make("line", { class: "mark" }, group);
  make("path", {}, group);
  make("text", {}, group);
  const handle = { kind, input, group, place, before: place };
  group.addEventListener("keydown", (event) => onKey(handle, event));
  group.addEventListener("focus", () => { handle.before = handle.place; });
  group.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    group.focus();
    group.setPointerCapture(event.pointerId);
  });
  group.addEventListener("pointermove", (event) => {
    if (group.hasPointerCapture(event.pointerId)) move(handle, placeAt(kind, event));
  });
  handles.set(input, handle);
  draw(handle);
  return handle;
}

function follow(input) {
  const kind = input.name;
  const place = read(kind, input.value);
  const inside = place !== null && place >= KINDS[kind].from && place <= KINDS[kind].to;
  const handle = handles.get(input);
  if (!inside) {
    handle?.group.remove();
    handles.delete(input);
  } else if (handle) {
    handle.place = place;
    draw(handle);
  } else hold(kind, input, place);
}

function anotherField(kind) {
  const every = [...form.querySelectorAll(`input[name=${kind}]`)];
  const free = every.find((one) => !one.value.trim());
  if (free) return free;
  const last = every.at(-1).closest(".field");
  const more = last.cloneNode(true);
  more.classList.remove("field-wrong");
  const input = more.querySelector("input");
  input.id = `${kind}-${every.length + 1}`;
  input.value = "";
  more.querySelector("label").htmlFor = input.id;
  last.after(more);
  input.addEventListener("input", () => follow(input));
  return input;
}

function addButtons() {
  const row = document.createElement("p");
  row.className = "row screen";
  for (const kind of Object.keys(KINDS)) {
    const button = document.createElement("button");
    button.type = "button";
    button.id = `add-${kind}`;
    button.className = "quiet";
    button.textContent = `Put a ${KINDS[kind].word.toLowerCase()} on the picture`;
    button.addEventListener("click", () => {
      const middle = snapped(kind, (KINDS[kind].from + KINDS[kind].to) / 2);
      const handle = hold(kind, anotherField(kind), middle);
      move(handle, middle);
      handle.group.focus();
    });
    row.append(button);
  }
  const hint = document.createElement("p");
  hint.id = "wish-keys";
  hint.className = "hint screen";
  hint.textContent = "Drag a line, or move it with the arrow keys (with Shift ten steps). "
    + "Enter asks what it costs, Delete takes it off, Escape puts it back.";
  box.closest("figure").append(row, hint);
}

addButtons();
for (const input of form.querySelectorAll("input[name=knife], input[name=cross]")) {
  input.addEventListener("input", () => follow(input));
  follow(input);
}
new ResizeObserver(() => handles.forEach(draw)).observe(layer);
const empty = () => [...form.querySelectorAll("input[name=knife], input[name=cross]")].filter((one) => !one.value.trim());
form.addEventListener("submit", () => empty().forEach((one) => { one.disabled = true; }));
window.addEventListener("pageshow", () => form.querySelectorAll("input").forEach((one) => { one.disabled = false; }));
