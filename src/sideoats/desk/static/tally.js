// Running stop lines: plain arithmetic on numbers that the desk worked out beforehand.

// line = [b0, b1, a0, a1]: after n units a total at or under b0 + b1 n says leave, at or over a0 + a1 n says treat.
export function judge(counts, line) {
  const n = counts.length;
  const total = counts.reduce((sum, c) => sum + c, 0);
  const out = { n, total, mean: n ? total / n : 0, side: "", more: 0, below: null, above: null };
  if (!line) return out;
  const [b0, b1, a0, a1] = line;
  out.below = b0 + b1 * n;
  out.above = a0 + a1 * n;
  if (!n) return out;
  if (total >= out.above) out.side = "treat";
  else if (total <= out.below) out.side = "leave";
  else {
    const pace = total / n;
    const up = pace > a1 ? (out.above - total) / (pace - a1) : Infinity;
    const down = pace < b1 ? (total - out.below) / (b1 - pace) : Infinity;
    const more = Math.ceil(Math.min(up, down));
    out.more = Number.isFinite(more) ? Math.max(1, Math.min(more, 200)) : 200;
  }
  return out;
}

const many = (noun, n) => (n === 1 ? noun : noun === "leaf" ? "leaves" : noun.endsWith("s") ? noun : noun === "foot of row" ? "feet of row" : `${noun}s`);

export function say(result, noun, hasLine) {
  const sum = `${result.n} ${many(noun, result.n)}, ${result.total} in all` + (result.n ? `, ${result.mean.toFixed(1)} on each` : "");
  if (!hasLine) return { head: result.n ? "Count on" : "Begin", line: `${sum}. No stop line is on file for this place.` };
  if (!result.n) return { head: "Begin", line: `Count ${many(noun, 2)} from all over the place.` };
  if (result.side === "treat") return { head: "Enough: treat side", line: `${sum}. At ${Math.ceil(result.above)} or more one may stop.` };
  if (result.side === "leave") return { head: "Enough: leave side", line: `${sum}. At ${Math.floor(result.below)} or fewer one may stop.` };
  const about = result.more >= 200 ? "many" : `about ${result.more}`;
  const low = result.below >= 0 ? `${Math.floor(result.below)} or fewer, or ` : "";
  return { head: `Count ${about} more`, line: `${sum}. One may stop at ${low}${Math.ceil(result.above)} or more.` };
}

// Points of the running total between the two lines, in a box 100 wide and 40 high.
export function path(counts, line) {
  const n = Math.max(counts.length, 10);
  const most = Math.max(1, counts.reduce((s, c) => s + c, 0), line ? line[2] + line[3] * n : 0) * 1.05;
  const x = (i) => ((i / n) * 100).toFixed(2);
  const y = (v) => (40 - (Math.max(0, Math.min(v, most)) / most) * 40).toFixed(2);
  let total = 0;
  const walk = ["M0 40", ...counts.map((c, i) => { total += c; return `L${x(i + 1)} ${y(total)}`; })].join("");
  if (!line) return { walk, below: "", above: "" };
  const cross = line[0] < 0 && line[1] > 0 ? Math.min(n, -line[0] / line[1]) : 0;
  return {
    walk,
    below: `M${x(cross)} ${y(line[0] + line[1] * cross)}L${x(n)} ${y(line[0] + line[1] * n)}`,
    above: `M0 ${y(line[2])}L${x(n)} ${y(line[2] + line[3] * n)}`,
  };
}

export { many };
