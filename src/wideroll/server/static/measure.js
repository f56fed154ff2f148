// Points on a photograph by click or by keys; the fields stay what is sent.
const photo = document.querySelector("#photo");
const svg = photo.querySelector("svg");
const columns = Number(photo.dataset.columns);
const rows = Number(photo.dataset.rows);
const points = [
  { x: "ax", y: "ay", of: "scale", words: "first point of the known length" },
  { x: "bx", y: "by", of: "scale", words: "second point of the known length" },
  { x: "cx", y: "cy", of: "mark", words: "one end of the mark" },
  { x: "dx", y: "dy", of: "mark", words: "the other end of the mark" },
];
const field = (name) => document.getElementById(name);
const value = (name) => Number(field(name).value.replace(",", "."));
const named = (point) => field(point.x).value !== "" && field(point.y).value !== "";
const known = () => field("per_pixel").value !== "";
const open = () => points.findIndex((point) => !named(point) && !(known() && point.of === "scale"));
const status = document.querySelector("#next-point");
const cross = { x: columns / 2, y: rows / 2 };
let next = 0;
let zoom = 1;

// Light on dark, so that it is seen on any photograph.
function add(tag, attributes, kind) {
  for (const look of ["under", kind]) {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, said] of Object.entries(attributes)) node.setAttribute(name, said);
    node.setAttribute("class", look);
    svg.append(node);
  }
}

function use(x, y, kind) {
  add("use", { href: "#cross", x, y }, kind);
}

function line(from, to, kind) {
  const d = `M${value(from.x)} ${value(from.y)}L${value(to.x)} ${value(to.y)}`;
  add("path", { d, "vector-effect": "non-scaling-stroke" }, kind);
}

function draw() {
  svg.querySelectorAll(":scope > use, :scope > path").forEach((one) => one.remove());
  for (const point of points) if (named(point)) use(value(point.x), value(point.y), point.of);
  for (const at of [0, 2]) if (named(points[at]) && named(points[at + 1])) line(points[at], points[at + 1], points[at].of);
  if (document.activeElement === photo) use(cross.x, cross.y, "here");
}

function say(words) {
  status.textContent = words;
}

function goTo(at) {
  next = at;
  points.forEach((point, rank) => {
    for (const name of [point.x, point.y]) field(name).classList.toggle("framed", rank === next);
  });
  say(next < 0 ? "All points are named. To name one again, go to its field first." : `Next: ${points[next].words}.`);
}

// Once all that is needed is named, another click or Enter must not move a point unseen.
function goOn() {
  goTo(open());
  if (next >= 0) return;
  const lacks = !known() && field("length").value === "";
  (lacks ? field("length") : document.querySelector("button[value=measure]")).focus();
}

function name(x, y) {
  if (next < 0) return;
  const point = points[next];
  field(point.x).value = Math.round(Math.min(Math.max(x, 0), columns) * 10) / 10;
  field(point.y).value = Math.round(Math.min(Math.max(y, 0), rows) * 10) / 10;
  goOn();
  draw();
}

function enlarge(factor) {
  zoom = Math.min(8, Math.max(1, zoom * factor));
  photo.className = `photo zoom-${zoom}`;
  show();
}

function show() {
  const box = svg.getBoundingClientRect();
  const left = (cross.x / columns) * box.width - photo.clientWidth / 2;
  const top = (cross.y / rows) * box.height - photo.clientHeight / 2;
  photo.scrollTo(left, top);
}

function move(x, y) {
  cross.x = Math.min(Math.max(cross.x + x, 0), columns);
  cross.y = Math.min(Math.max(cross.y + y, 0), rows);
  draw();
  show();
}

const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

photo.tabIndex = 0;
photo.setAttribute("role", "application");
photo.setAttribute("aria-label", "Photograph: arrow keys move the cross, Enter names the point");
photo.setAttribute("aria-describedby", "next-point");
document.querySelectorAll(".with-script").forEach((one) => { one.hidden = false; });

svg.addEventListener("click", (event) => {
  const box = svg.getBoundingClientRect();
  cross.x = ((event.clientX - box.left) / box.width) * columns;
  cross.y = ((event.clientY - box.top) / box.height) * rows;
  name(cross.x, cross.y);
});
photo.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const step = (event.shiftKey ? 10 : 1);
  if (arrows[event.key]) move(arrows[event.key][0] * step, arrows[event.key][1] * step);
  else if (event.key === "Enter") name(cross.x, cross.y);
  else if (event.key === "+") enlarge(2);
  else if (event.key === "-") enlarge(0.5);
  else return;
  event.preventDefault();
});
photo.addEventListener("focus", draw);
photo.addEventListener("blur", draw);
document.querySelector("#larger").addEventListener("click", () => enlarge(2));
document.querySelector("#smaller").addEventListener("click", () => enlarge(0.5));
for (const point of points) {
  for (const one of [point.x, point.y]) {
    field(one).addEventListener("input", draw);
    field(one).addEventListener("focus", () => goTo(points.indexOf(point)));
  }
}
field("per_pixel").addEventListener("change", () => goTo(open()));
goTo(open());
draw();
