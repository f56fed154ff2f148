// Densities read out at a place of log H, over the drawn curves: by pointer, or by keys.
const SVG = "http://www.w3.org/2000/svg";
const KEYS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
const NEAR = 0.006;
const DECIMALS = 3;

const box = document.getElementById("curves-over");
const data = JSON.parse(document.getElementById("read-out-data").textContent);
const picture = box.querySelector("img");
const [wide, tall] = ["width", "height"].map((name) => Number(picture.getAttribute(name)));
const { frame, records, first, step } = data;
const last = first + records[0].density.length - 1;
const readings = [...new Set(records.flatMap((one) => one.readings.map(([x]) => Math.round(x / step))))].sort((a, b) => a - b);
let place = Math.min(Math.max(Math.round((records[0].fitted[0] + records[0].fitted[1]) / 2 / step), first), last);

const make = (name, facts, parent) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(facts)) made.setAttribute(key, value);
  parent.append(made);
  return made;
};
const write = (value, signed = false) => {
  if (value === null) return "–";
  const text = Math.abs(value).toFixed(DECIMALS);
  if (value < 0 && Number(text) !== 0) return `−${text}`;
  return signed && Number(text) !== 0 ? `+${text}` : text;
};
const logH = () => (place * step).toFixed(2).replace("-", "−");
const xOf = (value) => wide * (frame.left + (frame.width * (value - frame.x_from)) / (frame.x_to - frame.x_from));
const yOf = (value) => tall * (frame.top + frame.height * (1 - (value - frame.y_from) / (frame.y_to - frame.y_from)));

const layer = make("svg", { viewBox: `0 0 ${wide} ${tall}`, class: "reading" }, box);
const slider = make("g", {
  tabindex: 0, role: "slider", "aria-label": `Log H at which strip ${data.strip} is read`,
  "aria-valuemin": (first * step).toFixed(2), "aria-valuemax": (last * step).toFixed(2), "aria-describedby": "read-out-keys",
}, layer);
make("rect", {
  class: "field", x: wide * frame.left, y: tall * frame.top, width: wide * frame.width, height: tall * frame.height,
}, slider);
const line = make("line", { y1: tall * frame.top, y2: tall * (frame.top + frame.height) }, slider);
const dots = records.map((record) => {
  const dot = make("circle", { r: 5 }, slider);
  dot.style.setProperty("--day", record.colour);
  dot.style.setProperty("--night", record.night);
  return dot;
});

const out = document.getElementById("read-out");
const heads = records[0].aim || records.some((one) => one.aim) ? ["record", "fitted D", "aim D", "D − aim", "read"] : ["record", "fitted D", "read"];
out.innerHTML = '<table><caption></caption><thead><tr></tr></thead><tbody></tbody></table>'
  + '<p class="row screen"></p><p class="hint screen" id="read-out-keys">Move over the curves, or use the arrow keys (with Shift ten steps); '
  + "n and p go to the next and the previous step that was read.</p>";
for (const head of heads) {
  const cell = document.createElement("th");
  cell.scope = "col";
  cell.textContent = head;
  if (head !== "record") cell.className = "number";
  out.querySelector("thead tr").append(cell);
}
const rows = records.map((record) => {
  const row = document.createElement("tr");
  const name = document.createElement("th");
  name.scope = "row";
  name.textContent = record.label;
  row.append(name);
  const cells = heads.slice(1).map(() => {
    const cell = document.createElement("td");
    cell.className = "number";
    row.append(cell);
    return cell;
  });
  out.querySelector("tbody").append(row);
  return cells;
});

function readAt(record) {
  const found = record.readings.find(([x]) => Math.abs(x - place * step) < NEAR);
  return found ? `${write(found[1])}${found[2] ? "" : " left out"}` : "–";
}

function factsOf(record) {
  const index = place - first;
  const [density, aim] = [record.density[index], record.aim ? record.aim[index] : null];
  const beyond = place * step < record.fitted[0] - 1e-9 || place * step > record.fitted[1] + 1e-9;
  const off = aim === null || density === null ? null : density - aim;
  return { density, aim, off, beyond, read: readAt(record) };
}

function show() {
  const x = xOf(place * step);
  line.setAttribute("x1", x);
  line.setAttribute("x2", x);
  const said = [`log H ${logH()}`];
  records.forEach((record, rank) => {
    const facts = factsOf(record);
    const dot = dots[rank];
    dot.setAttribute("cx", x);
    dot.setAttribute("cy", yOf(facts.density ?? 0));
    dot.classList.toggle("beyond", facts.beyond);
    dot.setAttribute("visibility", facts.density === null || facts.density > frame.y_to ? "hidden" : "visible");
    const fitted = `${write(facts.density)}${facts.beyond ? " e" : ""}`;
    const texts = heads.length === 5 ? [fitted, write(facts.aim), write(facts.off, true), facts.read] : [fitted, facts.read];
    texts.forEach((text, column) => { rows[rank][column].textContent = text; });
    const from = facts.off === null ? "" : `, ${write(facts.off, true)} from aim`;
    said.push(`${record.name} ${write(facts.density)}${facts.beyond ? " extrapolated" : ""}${from}`);
  });
  out.querySelector("caption").textContent = `Strip ${data.strip} at log₁₀ H ${logH()} (H in lx·s; e: extrapolated)`;
  slider.setAttribute("aria-valuenow", (place * step).toFixed(2));
  slider.setAttribute("aria-valuetext", said.join("; "));
}

function go(to) {
  place = Math.min(Math.max(to, first), last);
  show();
}
const next = () => go(readings.find((one) => one > place) ?? place);
const previous = () => go(readings.findLast((one) => one < place) ?? place);

function pointed(event) {
  const rect = layer.getBoundingClientRect();
  const share = ((event.clientX - rect.left) / rect.width - frame.left) / frame.width;
  go(Math.round((frame.x_from + share * (frame.x_to - frame.x_from)) / step));
}

slider.addEventListener("pointermove", pointed);
slider.addEventListener("pointerdown", pointed);
slider.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (KEYS[event.key] !== undefined) go(place + KEYS[event.key] * (event.shiftKey ? 10 : 1));
  else if (event.key === "Home") go(first);
  else if (event.key === "End") go(last);
  else if (event.key === "n") next();
  else if (event.key === "p") previous();
  else return;
  event.preventDefault();
});
for (const [word, act] of [["Previous step", previous], ["Less log H", () => go(place - 1)], ["More log H", () => go(place + 1)], ["Next step", next]]) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = word;
  button.addEventListener("click", act);
  out.querySelector("p.row").append(button);
}
show();
