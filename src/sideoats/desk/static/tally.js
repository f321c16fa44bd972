// Running stop lines: plain arithmetic on numbers that the desk worked out beforehand.

// A plan has stop lines after each of `units` units: `below` (leave it at or under) and `above` (treat at or over), null
// where there is none. Their first row is for the pest's usual scatter; with `own_from` counts and more the field's own
// tells, and the other rows are for each `k`. Between units the lines are straight, between k straight in its logarithm.
export function judge(counts, plan) {
  const n = counts.length;
  const total = counts.reduce((sum, c) => sum + c, 0);
  const out = { n, total, mean: n ? total / n : 0, side: "", more: 0, below: null, above: null };
  if (!plan || !n) return out;
  const k = scatter(counts, out.mean, plan);
  [out.below, out.above] = linesAt(plan, n, k);
  out.side = sideOf(total, out.below, out.above);
  while (!out.side && out.more < 200) {
    out.more += 1;
    const [below, above] = linesAt(plan, n + out.more, k);
    if (sideOf(total + out.more * out.mean, below, above)) break;
  }
  return out;
}

const sideOf = (total, below, above) => (above !== null && total >= above ? "treat" : below !== null && total <= below ? "leave" : "");

// The k of the counts by moments, as the question reckons it; null for the usual one.
function scatter(counts, mean, plan) {
  const n = counts.length;
  if (n < plan.own_from || mean <= 0 || !plan.k.length) return null;
  const variance = counts.reduce((sum, c) => sum + (c - mean) ** 2, 0) / (n - 1);
  const k = variance > mean ? (mean * mean - variance / n) / (variance - mean) : Infinity;
  return Math.min(Math.max(k, plan.bounds[0]), plan.bounds[1]);
}

function linesAt(plan, n, k) {
  if (k === null) return [plan.below[0], plan.above[0]].map((line) => between(plan.units, line, n, (v) => v));
  return [plan.below, plan.above].map((lines) => between(plan.k, lines.slice(1).map((line) => between(plan.units, line, n, (v) => v)), k, Math.log));
}

function between(xs, ys, x, scale) {
  if (x <= xs[0]) return ys[0];
  const after = xs.findIndex((v) => v >= x);
  if (after < 0) return x > xs[xs.length - 1] ? beyond(xs, ys, x) : ys[ys.length - 1];
  if (xs[after] === x) return ys[after];
  const [low, high] = [ys[after - 1], ys[after]];
  if (low === null || high === null) return null;
  return low + (high - low) * ((scale(x) - scale(xs[after - 1])) / (scale(xs[after]) - scale(xs[after - 1])));
}

function beyond(xs, ys, x) {
  const last = xs.length - 1;
  if (ys[last] === null || ys[last - 1] === null) return null;
  return ys[last] + ((ys[last] - ys[last - 1]) * (x - xs[last])) / (xs[last] - xs[last - 1]);
}

// In words; `many(n)` names what is counted, `say(code, values)` is the page's own.
export function say(result, many, hasLine, say) {
  const counts = { n: result.n, noun: many(result.n), total: result.total, mean: result.mean.toFixed(1) };
  const sum = say(result.n ? "tally.sum" : "tally.sum_none", counts);
  if (!hasLine) return { head: say(result.n ? "tally.go_on" : "tally.begin"), line: say("tally.no_line", { sum }) };
  if (!result.n) return { head: say("tally.begin"), line: say("tally.all_over", { noun: many(2) }) };
  if (result.side === "treat") return { head: say("tally.treat"), line: say("tally.at_more", { sum, above: Math.ceil(result.above) }) };
  if (result.side === "leave") return { head: say("tally.leave"), line: say("tally.at_fewer", { sum, below: Math.floor(result.below) }) };
  const bounds = { sum, below: Math.floor(result.below ?? 0), above: Math.ceil(result.above ?? 0) };
  const known = result.above === null ? (result.below === null ? "none" : "below") : result.below === null ? "above" : "between";
  return {
    head: result.more >= 200 ? say("tally.many_more") : say("tally.more", { more: result.more }),
    line: say(`tally.stop_${known}`, bounds),
  };
}

// Points of the running total between the two lines, in a box 100 wide and 40 high.
export function path(counts, plan) {
  const n = Math.max(counts.length, 10);
  const k = plan && counts.length ? scatter(counts, counts.reduce((s, c) => s + c, 0) / counts.length, plan) : null;
  const lines = plan ? Array.from({ length: n }, (_, i) => linesAt(plan, i + 1, k)) : [];
  const highest = lines.length ? lines[n - 1][1] ?? 0 : 0;
  const most = Math.max(1, counts.reduce((s, c) => s + c, 0), highest) * 1.05;
  const x = (i) => ((i / n) * 100).toFixed(2);
  const y = (v) => (40 - (Math.max(0, Math.min(v, most)) / most) * 40).toFixed(2);
  let total = 0;
  const walk = ["M0 40", ...counts.map((c, i) => { total += c; return `L${x(i + 1)} ${y(total)}`; })].join("");
  const drawn = (side) => lines.map((pair, i) => [i + 1, pair[side]]).filter((point) => point[1] !== null)
    .map(([i, v], at) => `${at ? "L" : "M"}${x(i)} ${y(v)}`).join("");
  return { walk, below: drawn(0), above: drawn(1) };
}
