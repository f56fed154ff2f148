// Where things of the web lie in the picture, and where its tiles are.
// Along runs to the right, across upwards from the datum edge; the picture's own unit is its width.

export function geometry(segment) {
  const wide = Math.max(...segment.levels.map((level) => level.columns * level.px_m));
  const tall = Math.max(...segment.levels.map((level) => level.rows * level.px_mm)) / 1000;
  const start = segment.picture.from_m;
  const { roll_m: roll, picture_m: drawn } = segment.places || { roll_m: [0, 1], picture_m: [0, 1] };
  return {
    wide,
    tall,
    x: (along) => (between(along, roll, drawn) - start) / wide,
    y: (across) => (tall - across / 1000) / wide,
    along: (x) => between(x * wide + start, drawn, roll),
    across: (y) => (tall - y * wide) * 1000,
    length: (segment.picture.to_m - start) / wide,
    width: segment.width_mm / 1000 / wide,
  };
}

// Straight between knots, and on outside of them.
function between(value, from, to) {
  let piece = 0;
  while (piece < from.length - 2 && from[piece + 1] <= value) piece += 1;
  const share = (value - from[piece]) / (from[piece + 1] - from[piece]);
  return to[piece] + share * (to[piece + 1] - to[piece]);
}

// Levels needn't be halves of one another, so each says where its tiles lie.
export function tileSource(OSD, segment, layer) {
  const { wide, tall } = geometry(segment);
  const size = segment.tile_px;
  const finest = segment.levels[segment.levels.length - 1];
  const source = new OSD.TileSource({
    width: wide / finest.px_m,
    height: tall / finest.px_m,
    tileSize: size,
    minLevel: 0,
    maxLevel: finest.level,
  });
  const tileWide = (level) => (size * level.px_m) / wide;
  const tileTall = (level) => (size * level.px_mm) / 1000 / wide;
  const top = (level) => (tall - (level.rows * level.px_mm) / 1000) / wide;
  source.getLevelScale = (n) => finest.px_m / segment.levels[n].px_m;
  source.getNumTiles = (n) => {
    const level = segment.levels[n];
    return new OSD.Point(Math.ceil(level.columns / size), Math.ceil(level.rows / size));
  };
  source.getTileAtPoint = (n, point) => {
    const level = segment.levels[n];
    const most = source.getNumTiles(n);
    const x = Math.floor(point.x / tileWide(level));
    const y = Math.floor((point.y - top(level)) / tileTall(level));
    return new OSD.Point(clamp(x, 0, most.x - 1), clamp(y, 0, most.y - 1));
  };
  source.getTileBounds = (n, x, y, ofSource) => {
    const level = segment.levels[n];
    const columns = Math.min(size, level.columns - x * size);
    const rows = Math.min(size, level.rows - y * size);
    if (ofSource) return new OSD.Rect(0, 0, columns, rows);
    return new OSD.Rect(
      x * tileWide(level),
      top(level) + y * tileTall(level),
      (columns / size) * tileWide(level),
      (rows / size) * tileTall(level),
    );
  };
  source.getTileUrl = (n, x, y) =>
    segment.tiles.replace("{layer}", layer).replace("{level}", n).replace("{x}", x).replace("{y}", y);
  return source;
}

export const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
