// Charts of very many points, to be zoomed and read off; the drawn picture beside them says the same.

const place = document.getElementById("points");
if (place) {
  show(place).catch((error) => {
    place.textContent = `The points can't be shown here (${error.message}); the table beneath has them.`;
  });
}

async function show(place) {
  const answer = await fetch(place.dataset.address, { headers: { accept: "application/json" } });
  if (!answer.ok) {
    throw new Error(`answer ${answer.status}`);
  }
  const chart = await answer.json();
  place.textContent = "";
  for (const panel of chart.panels) {
    draw(place, chart, panel);
  }
}

function draw(place, chart, panel) {
  const names = panel.points ? ["points", "low", "centre", "high"] : ["above", "below"];
  const words = { points: "value", low: "lower limit", centre: "centre", high: "upper limit", above: "sum above", below: "sum below" };
  const ink = getComputedStyle(document.body).color;
  const faint = getComputedStyle(document.documentElement).getPropertyValue("--edge");
  const numbers = panel.rolls.map((_, at) => at);
  const series = names.map((name, at) => ({
    label: words[name],
    stroke: ink,
    width: at ? 1 : 1.25,
    dash: name === "low" || name === "high" ? [6, 4] : name === "below" ? [2, 2] : [],
    points: { show: false },
  }));
  const axis = { stroke: ink, grid: { stroke: faint, width: 0.5 }, ticks: { stroke: faint } };
  const roll = (_, at) => (at === null ? "–" : panel.rolls[Math.round(at)] ?? "–");
  const options = {
    title: [chart.what, panel.name].filter((part, at, all) => part && all.indexOf(part) === at).join(", "),
    width: place.clientWidth || 600,
    height: 260,
    scales: { x: { time: false } },
    series: [{ label: "roll", value: roll }, ...series],
    axes: [{ ...axis, values: (_, at) => at.map((one) => panel.rolls[one] ?? "") }, { ...axis, label: panel.unit, size: 70 }],
  };
  const plot = new uPlot(options, [numbers, ...names.map((name) => panel[name])], place);
  addEventListener("resize", () => plot.setSize({ width: place.clientWidth, height: options.height }));
}
