// Ground space seen from three sides, and a loop's rounds: what moves a point on by so many laps.

// Points are [x, y, z] metres: +Y up, +Z forward, +X to the left; heading turns about +Y.
export function seen(view, point, heading) {
  const [x, y, z] = point, s = Math.sin(heading), c = Math.cos(heading);
  const along = s * x + c * z, left = c * x - s * z;
  if (view === "side") return [along, y];
  if (view === "front") return [left, y];
  return [along, left];
}

// drift: [turn, x, y, z], the motion of one lap.
export function moved(point, drift, laps) {
  let [x, y, z] = point;
  const [turn, dx, dy, dz] = drift;
  if (turn === 0) return [x + laps * dx, y + laps * dy, z + laps * dz];
  const s = Math.sin(turn), c = Math.cos(turn);
  for (let i = 0; i < Math.abs(laps); i++) {
    if (laps > 0) [x, y, z] = [c * x + s * z + dx, y + dy, c * z - s * x + dz];
    else { const [a, b, d] = [x - dx, y - dy, z - dz]; [x, y, z] = [c * a - s * d, b, c * d + s * a]; }
  }
  return [x, y, z];
}

// The points of one sample of an array whose last axis is x, y, z: a flat list of them.
export function pointsAt(array, sample) {
  const { shape, data } = array;
  const size = shape.slice(1).reduce((a, b) => a * b, 1);
  const found = [];
  for (let i = sample * size; i < (sample + 1) * size; i += 3) found.push([data[i], data[i + 1], data[i + 2]]);
  return found;
}
