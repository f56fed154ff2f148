// Marks on one canvas over the picture: light under dark, so that one of the two stands out from any grey.

const LIGHT = "#ffffff";
const DARK = "#101215";
const LEAST = 7;
const LEAST_OF_MANY = 4;
const MANY = 80;
const REACH = 18;

// Where a mark or a bin lies on the canvas.
export function spot(mark, geo, toPixel) {
  const at = toPixel(geo.x(mark.along_m), geo.y(mark.across_mm));
  const edge = toPixel(
    geo.x(mark.along_m + mark.length_mm / 2000),
    geo.y(mark.across_mm - mark.width_mm / 2),
  );
  return { x: at.x, y: at.y, halfLong: edge.x - at.x, halfWide: edge.y - at.y };
}

export function drawMarks(canvas, found, chosen, geo, toPixel) {
  const ratio = window.devicePixelRatio || 1;
  const [wide, tall] = [canvas.clientWidth, canvas.clientHeight];
  if (canvas.width !== Math.round(wide * ratio) || canvas.height !== Math.round(tall * ratio)) {
    canvas.width = Math.round(wide * ratio);
    canvas.height = Math.round(tall * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, wide, tall);
  const near = (at) => at.x > -60 && at.x < wide + 60 && at.y > -60 && at.y < tall + 60;
  const path = new Path2D();
  const shown = (found.marks || []).map((mark) => ({ mark, at: spot(mark, geo, toPixel) })).filter(({ at }) => near(at));
  for (const { mark, at } of shown) outline(path, mark, at, 3, shown.length > MANY ? LEAST_OF_MANY : LEAST);
  stroke(pen, path, 4.5, 2);
  for (const bin of found.bins || []) drawBin(pen, bin, geo, toPixel, near);
  if (chosen) drawChosen(pen, chosen, spot(chosen, geo, toPixel));
}

// Dark marks are ringed, bright ones stand in a diamond, long ones in a box.
function outline(path, mark, at, away, least) {
  const long = Math.max(at.halfLong + away, least);
  const wide = Math.max(at.halfWide + away, least);
  if (Math.max(long, wide) > 2.5 * Math.min(long, wide)) {
    path.rect(at.x - long, at.y - wide, 2 * long, 2 * wide);
  } else if (mark.polarity === "bright") {
    const r = Math.max(long, wide) * 1.3;
    path.moveTo(at.x, at.y - r);
    path.lineTo(at.x + r, at.y);
    path.lineTo(at.x, at.y + r);
    path.lineTo(at.x - r, at.y);
    path.closePath();
  } else {
    const r = Math.max(long, wide);
    path.moveTo(at.x + r, at.y);
    path.arc(at.x, at.y, r, 0, 2 * Math.PI);
  }
}

function stroke(pen, path, under, over) {
  pen.lineWidth = under;
  pen.strokeStyle = LIGHT;
  pen.stroke(path);
  pen.lineWidth = over;
  pen.strokeStyle = DARK;
  pen.stroke(path);
}

function drawBin(pen, bin, geo, toPixel, near) {
  const at = toPixel(geo.x((bin.from_m + bin.to_m) / 2), geo.y((bin.from_mm + bin.to_mm) / 2));
  if (!near(at)) return;
  const words = bin.count > 999 ? `${Math.round(bin.count / 1000)}k` : String(bin.count);
  const half = 4 + 3 * Math.log2(1 + bin.count) ** 0.8;
  const path = new Path2D();
  path.rect(at.x - half, at.y - half, 2 * half, 2 * half);
  stroke(pen, path, 5, 2);
  if (half < 5 + 4 * words.length) return;
  pen.fillStyle = LIGHT;
  pen.fill(path);
  stroke(pen, path, 0.5, 2);
  pen.fillStyle = DARK;
  pen.font = "600 13px Helvetica, Arial, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(words, at.x, at.y);
}

function drawChosen(pen, mark, at) {
  const path = new Path2D();
  outline(path, mark, at, 9, LEAST + 6);
  const r = Math.max(at.halfLong + 9, at.halfWide + 9, LEAST + 6) + 5;
  for (const [x, y] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    path.moveTo(at.x + x * r, at.y + y * r);
    path.lineTo(at.x + x * (r + 14), at.y + y * (r + 14));
  }
  stroke(pen, path, 7, 3.5);
}

// The mark or bin nearest to a place on the canvas, when it is near enough to be meant.
export function nearest(found, geo, toPixel, place) {
  const marks = (found.marks || []).map((mark) => ({ mark, at: spot(mark, geo, toPixel) }));
  const bins = (found.bins || []).map((bin) => ({
    bin,
    at: toPixel(geo.x((bin.from_m + bin.to_m) / 2), geo.y((bin.from_mm + bin.to_mm) / 2)),
  }));
  let best = null;
  for (const one of [...marks, ...bins]) {
    const away = Math.hypot(one.at.x - place.x, one.at.y - place.y);
    const reach = REACH + Math.max(one.at.halfLong || 0, one.at.halfWide || 0);
    if (away <= reach && (!best || away < best.away)) best = { ...one, away };
  }
  return best;
}
