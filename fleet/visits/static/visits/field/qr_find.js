// Finds a QR code in a picture and reads its squares. Made for labels held before a telephone: one code, near enough to
// fill a good part of the picture, turned any way. Layout of the code: ISO/IEC 18004.

// Dark or light against the brightness around, so that a shadow over half a label does no harm.
export function darkness({ data, width, height }) {
  const light = new Uint8Array(width * height), sums = new Float64Array((width + 1) * (height + 1));
  for (let y = 0, i = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++, i++) {
      light[i] = (data[4 * i] * 77 + data[4 * i + 1] * 150 + data[4 * i + 2] * 29) >> 8;
      row += light[i];
      sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
    }
  }
  const reach = Math.max(12, Math.round(Math.min(width, height) / 10)), dark = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    const top = Math.max(0, y - reach), bottom = Math.min(height, y + reach + 1);
    for (let x = 0; x < width; x++) {
      const left = Math.max(0, x - reach), right = Math.min(width, x + reach + 1);
      const sum = sums[bottom * (width + 1) + right] - sums[top * (width + 1) + right] - sums[bottom * (width + 1) + left] + sums[top * (width + 1) + left];
      const mean = sum / ((bottom - top) * (right - left));
      dark[y * width + x] = light[y * width + x] < mean - 6 ? 1 : 0;
    }
  }
  return { dark, width, height };
}

// Five runs like a corner mark's: 1, 1, 3, 1, 1. Gives the width of one square, or 0.
function markWidth(runs) {
  const total = runs[0] + runs[1] + runs[2] + runs[3] + runs[4];
  if (total < 7 || runs.includes(0)) return 0;
  const one = total / 7, most = 0.6 * one;
  const fits = [1, 1, 3, 1, 1].every((n, i) => Math.abs(runs[i] - n * one) < (n === 3 ? 2.2 : 1) * most);
  return fits ? one : 0;
}

// From a point inside a dark middle outwards along a line: the mark's middle on that line and its square's width.
function across(image, x, y, dx, dy, most) {
  const at = (k) => {
    const [px, py] = [x + k * dx, y + k * dy];
    return px < 0 || py < 0 || px >= image.width || py >= image.height ? -1 : image.dark[py * image.width + px];
  };
  const half = (sign) => {
    const runs = [0, 0, 0];
    for (let k = sign > 0 ? 1 : 0, part = 0; Math.abs(k) < 4 * most + 8; k += sign) {
      const is = at(k);
      if (is < 0) break;
      if (is !== (part === 1 ? 0 : 1)) {
        if (++part > 2) return runs;
      }
      runs[part]++;
    }
    return runs;
  };
  const [ahead, behind] = [half(1), half(-1)];
  const one = markWidth([behind[2], behind[1], behind[0] + ahead[0], ahead[1], ahead[2]]);
  return one ? { off: (ahead[0] - behind[0] + 1) / 2, one } : null;
}

export function cornerMarks(image) {
  const { dark, width, height } = image, found = [];
  for (let y = 1; y < height; y += 2) {
    const runs = [0, 0, 0, 0, 0];
    let last = 0, n = 0;
    for (let x = 0; x <= width; x++) {
      const is = x < width ? dark[y * width + x] : 1 - last;
      if (is === last) {
        n++;
        continue;
      }
      runs.shift();
      runs.push(n);
      if (last === 1) {
        const one = markWidth(runs);
        if (one) consider(image, found, Math.round(x - runs[4] - runs[3] - runs[2] / 2), y, one);
      }
      last = is;
      n = 1;
    }
  }
  return found.filter((mark) => mark.seen > 1);
}

function consider(image, found, x, y, one) {
  const down = across(image, x, y, 0, 1, one * 3);
  if (!down) return;
  const cy = y + down.off, side = across(image, x, Math.round(cy), 1, 0, one * 3);
  if (!side || side.one > 2 * down.one || down.one > 2 * side.one) return;
  const mark = { x: x + side.off, y: cy, one: (side.one + down.one) / 2, seen: 1 };
  const same = found.find((other) => Math.hypot(other.x - mark.x, other.y - mark.y) < 2.5 * other.one);
  if (!same) return void found.push(mark);
  const share = 1 / (same.seen + 1);
  for (const name of ["x", "y", "one"]) same[name] += (mark[name] - same[name]) * share;
  same.seen++;
}

// Three marks that stand like the corners of a square: [corner, right of it, below it], best first.
export function threes(marks) {
  const best = [...marks].sort((a, b) => b.seen - a.seen).slice(0, 9), found = [];
  for (let i = 0; i < best.length; i++) {
    for (let j = i + 1; j < best.length; j++) {
      for (let k = j + 1; k < best.length; k++) {
        const [a, b, c] = [best[i], best[j], best[k]], sizes = [a.one, b.one, c.one];
        if (Math.max(...sizes) > 1.7 * Math.min(...sizes)) continue;
        for (const [corner, p, q] of [[a, b, c], [b, a, c], [c, a, b]]) {
          const u = [p.x - corner.x, p.y - corner.y], v = [q.x - corner.x, q.y - corner.y];
          const [lu, lv] = [Math.hypot(...u), Math.hypot(...v)], cross = (u[0] * v[1] - u[1] * v[0]) / (lu * lv);
          const lean = Math.abs(u[0] * v[0] + u[1] * v[1]) / (lu * lv), odd = Math.abs(Math.log(lu / lv));
          if (lean > 0.45 || odd > 0.5 || Math.min(lu, lv) < 10 * a.one) continue;
          found.push({ off: lean + odd, three: cross > 0 ? [corner, p, q] : [corner, q, p] });
        }
      }
    }
  }
  return found.sort((x, y) => x.off - y.off).slice(0, 4).map((one) => one.three);
}

// The way from squares of the code to points of the picture, through four of each.
function mapping(from, to) {
  const rows = from.flatMap(([x, y], i) => [
    [x, y, 1, 0, 0, 0, -x * to[i][0], -y * to[i][0], to[i][0]], [0, 0, 0, x, y, 1, -x * to[i][1], -y * to[i][1], to[i][1]],
  ]);
  for (let c = 0; c < 8; c++) {
    const best = rows.slice(c).reduce((top, row, i) => (Math.abs(row[c]) > Math.abs(rows[top][c]) ? i + c : top), c);
    [rows[c], rows[best]] = [rows[best], rows[c]];
    if (Math.abs(rows[c][c]) < 1e-9) return null;
    for (let r = 0; r < 8; r++) {
      if (r === c) continue;
      const share = rows[r][c] / rows[c][c];
      for (let k = c; k < 9; k++) rows[r][k] -= share * rows[c][k];
    }
  }
  const m = rows.map((row, i) => row[8] / row[i]);
  return (x, y) => {
    const w = m[6] * x + m[7] * y + 1;
    return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
  };
}

const isDark = (image, x, y) => {
  const [px, py] = [Math.round(x), Math.round(y)];
  return px < 0 || py < 0 || px >= image.width || py >= image.height ? 0 : image.dark[py * image.width + px];
};

// The small mark near the fourth corner: looked for around where a flat code would have it.
function fourth(image, [corner, right, below], n) {
  const u = [(right.x - corner.x) / (n - 7), (right.y - corner.y) / (n - 7)];
  const v = [(below.x - corner.x) / (n - 7), (below.y - corner.y) / (n - 7)];
  const near = [corner.x + (n - 10) * (u[0] + v[0]), corner.y + (n - 10) * (u[1] + v[1])];
  let best = null, most = 21;
  for (let a = -5; a <= 5; a += 0.25) {
    for (let b = -5; b <= 5; b += 0.25) {
      const [x, y] = [near[0] + a * u[0] + b * v[0], near[1] + a * u[1] + b * v[1]];
      let score = -0.02 * (Math.abs(a) + Math.abs(b));
      for (let i = -2; i <= 2; i++) {
        for (let j = -2; j <= 2; j++) {
          const wanted = Math.max(Math.abs(i), Math.abs(j)) === 1 ? 0 : 1;
          if (isDark(image, x + i * u[0] + j * v[0], y + i * u[1] + j * v[1]) === wanted) score++;
        }
      }
      if (score > most) [best, most] = [[x, y], score];
    }
  }
  return best;
}

// Square grids that the picture may hold: rows of 0 and 1, the likeliest first.
export function* grids(image) {
  for (const three of threes(cornerMarks(image))) {
    const [corner, right, below] = three;
    const one = (corner.one + right.one + below.one) / 3;
    const across = (Math.hypot(right.x - corner.x, right.y - corner.y) + Math.hypot(below.x - corner.x, below.y - corner.y)) / 2;
    const middle = Math.round((across / one + 7 - 17) / 4);
    for (const version of [middle, middle + 1, middle - 1, middle + 2]) {
      if (version < 1 || version > 10) continue;
      const n = 17 + 4 * version, mark = version > 1 ? fourth(image, three, n) : null;
      const flat = [right.x + below.x - corner.x, right.y + below.y - corner.y];
      for (const last of mark ? [[[n - 6.5, n - 6.5], mark], [[n - 3.5, n - 3.5], flat]] : [[[n - 3.5, n - 3.5], flat]]) {
        const way = mapping([[3.5, 3.5], [n - 3.5, 3.5], [3.5, n - 3.5], last[0]], [[corner.x, corner.y], [right.x, right.y], [below.x, below.y], last[1]]);
        if (!way) continue;
        yield Array.from({ length: n }, (_, y) => Array.from({ length: n }, (_, x) => isDark(image, ...way(x + 0.5, y + 0.5))));
      }
    }
  }
}
