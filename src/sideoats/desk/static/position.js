// How far places are from where one stands: flat reckoning about that point, true enough within a few counties.

const METRES = 111194.9; // in a degree of latitude on the sphere of 6,371 km

const flat = (here) => {
  const narrow = Math.cos((here.latitude * Math.PI) / 180);
  return ([x, y]) => [(x - here.longitude) * narrow * METRES, (y - here.latitude) * METRES];
};

function inside(ring) {
  let odd = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
    const [xi, yi] = ring[i];
    const [xj, yj] = ring[j];
    if (yi > 0 !== yj > 0 && 0 < ((xj - xi) * -yi) / (yj - yi) + xi) odd = !odd;
  }
  return odd;
}

function toSegment([ax, ay], [bx, by]) {
  const dx = bx - ax;
  const dy = by - ay;
  const length = dx * dx + dy * dy;
  const t = length ? Math.max(0, Math.min(1, -(ax * dx + ay * dy) / length)) : 0;
  return Math.hypot(ax + t * dx, ay + t * dy);
}

// Metres from `here` to a place's outline or point; 0 inside it; null where the place has no position.
export function distance(place, here) {
  const project = flat(here);
  if (place.point) return Math.hypot(...project(place.point));
  if (!place.rings) return null;
  const rings = place.rings.map((ring) => ring.map(project));
  if (rings.filter(inside).length % 2) return 0;
  let best = Infinity;
  for (const ring of rings) for (let i = 1; i < ring.length; i += 1) best = Math.min(best, toSegment(ring[i - 1], ring[i]));
  return best;
}

export function nearest(places, here, count = 6) {
  return places
    .map((place) => ({ place, metres: distance(place, here) }))
    .filter((found) => found.metres !== null)
    .sort((a, b) => a.metres - b.metres)
    .slice(0, count);
}

export function sayDistance(metres, say, measures) {
  if (metres === 0) return say("inside");
  if (measures === "metric") return metres < 400 ? say("metres", { x: Math.round(metres / 10) * 10 }) : say("kilometres", { x: (metres / 1000).toFixed(1) });
  const yards = metres * 1.09361;
  return yards < 440 ? say("yards", { x: yards < 10 ? Math.round(yards) : Math.round(yards / 10) * 10 }) : say("miles", { x: (metres / 1609.344).toFixed(1) });
}
