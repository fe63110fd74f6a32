// The text of a QR code, for browsers that cannot read labels themselves: squares to words, wrong ones mended.
// Tables and rules: ISO/IEC 18004; versions 1 to 10, which is more than any label of ours needs.
import { darkness, grids } from "./qr_find.js";

const EXP = new Uint8Array(512), LOG = new Uint8Array(256);
for (let i = 0, x = 1; i < 255; i++) {
  EXP[i] = EXP[i + 255] = x;
  LOG[x] = i;
  x = x & 128 ? (x << 1) ^ 0x11d : x << 1;
}
const times = (a, b) => (a && b ? EXP[LOG[a] + LOG[b]] : 0);
const over = (a, b) => (a ? EXP[LOG[a] + 255 - LOG[b]] : 0);

const ALL = [26, 44, 70, 100, 134, 172, 196, 242, 292, 346]; // bytes of each version
const SPLIT = { // [blocks, bytes for mending in each], by version
  L: [[1, 7], [1, 10], [1, 15], [1, 20], [1, 26], [2, 18], [2, 20], [2, 24], [2, 30], [4, 18]],
  M: [[1, 10], [1, 16], [1, 26], [2, 18], [2, 24], [4, 16], [4, 18], [4, 22], [5, 22], [5, 26]],
  Q: [[1, 13], [1, 22], [2, 18], [2, 26], [4, 18], [4, 24], [6, 18], [6, 22], [8, 20], [8, 24]],
  H: [[1, 17], [1, 28], [2, 22], [4, 16], [4, 22], [4, 28], [5, 26], [6, 26], [8, 24], [8, 28]],
};
const LEVELS = ["M", "L", "H", "Q"];
const MARKS = [[], [18], [22], [26], [30], [34], [22, 38], [24, 42], [26, 46], [28, 50]]; // besides 6
const MASKS = [
  (x, y) => (x + y) % 2, (x, y) => y % 2, (x) => x % 3, (x, y) => (x + y) % 3, (x, y) => ((y >> 1) + Math.floor(x / 3)) % 2,
  (x, y) => ((x * y) % 2) + ((x * y) % 3), (x, y) => (((x * y) % 2) + ((x * y) % 3)) % 2, (x, y) => (((x + y) % 2) + ((x * y) % 3)) % 2,
];

// Mends a block of bytes in place (Reed and Solomon, after Berlekamp, Massey, Chien and Forney). False: too many wrong.
export function mend(block, spare) {
  const signs = Array.from({ length: spare }, (_, i) => block.reduce((sum, byte) => times(sum, EXP[i]) ^ byte, 0));
  if (signs.every((s) => s === 0)) return true;
  let wrong = [1], old = [1], n = 0, gap = 1, last = 1;
  for (let i = 0; i < spare; i++) {
    let off = signs[i];
    for (let k = 1; k <= n; k++) off ^= times(wrong[k] || 0, signs[i - k]);
    if (!off) {
      gap++;
      continue;
    }
    const before = [...wrong], share = over(off, last);
    old.forEach((value, k) => { wrong[k + gap] = (wrong[k + gap] || 0) ^ times(share, value); });
    wrong = Array.from(wrong, (value) => value || 0);
    if (2 * n <= i) [n, old, last, gap] = [i + 1 - n, before, off, 1];
    else gap++;
  }
  const at = (terms, power) => terms.reduce((sum, value, k) => sum ^ times(value, EXP[(power * k) % 255]), 0);
  const places = [...block.keys()].filter((j) => at(wrong, (255 - (j % 255)) % 255) === 0);
  if (2 * n > spare || places.length !== n) return false;
  const share = signs.map((_, i) => wrong.slice(0, i + 1).reduce((sum, value, k) => sum ^ times(value, signs[i - k]), 0));
  for (const j of places) {
    const back = (255 - j) % 255, slope = wrong.reduce((sum, value, k) => (k % 2 ? sum ^ times(value, EXP[(back * (k - 1)) % 255]) : sum), 0);
    if (!slope) return false;
    block[block.length - 1 - j] ^= times(EXP[j], over(at(share, back), slope));
  }
  return true;
}

// Level and mask, from whichever of the two copies has fewer wrong bits.
function formatOf(grid) {
  const n = grid.length, one = [], two = [];
  for (const x of [0, 1, 2, 3, 4, 5, 7, 8]) one.push(grid[8][x]);
  for (const y of [7, 5, 4, 3, 2, 1, 0]) one.push(grid[y][8]);
  for (let y = n - 1; y > n - 8; y--) two.push(grid[y][8]);
  for (let x = n - 8; x < n; x++) two.push(grid[8][x]);
  let best = null;
  for (let data = 0; data < 32; data++) {
    let rest = data << 10;
    for (let bit = 14; bit >= 10; bit--) if (rest & (1 << bit)) rest ^= 0x537 << (bit - 10);
    const right = ((data << 10) | rest) ^ 0x5412;
    for (const copy of [one, two]) {
      const off = copy.filter((bit, i) => bit !== ((right >> (14 - i)) & 1)).length;
      if (off <= 3 && (!best || off < best.off)) best = { off, level: LEVELS[data >> 3], mask: MASKS[data & 7] };
    }
  }
  return best;
}

function isOurs(x, y, n, marks) {
  if ((x < 9 && y < 9) || (x >= n - 8 && y < 9) || (x < 9 && y >= n - 8) || x === 6 || y === 6) return true;
  if (n >= 45 && ((x >= n - 11 && y < 6) || (y >= n - 11 && x < 6))) return true;
  const nearest = (value) => marks.find((mark) => Math.abs(value - mark) <= 2);
  const [a, b] = [nearest(x), nearest(y)];
  if (a === undefined || b === undefined) return false;
  return !((a === 6 && b === 6) || (a === 6 && b === n - 7) || (a === n - 7 && b === 6));
}

// The text of a grid of squares, or null.
export function textOf(grid) {
  const n = grid.length, version = (n - 17) / 4, form = formatOf(grid);
  if (!form) return null;
  const marks = version > 1 ? [6, ...MARKS[version - 1]] : [], bits = [];
  for (let right = n - 1, up = true; right > 0; right -= 2, up = !up) {
    if (right === 6) right = 5;
    for (let i = 0; i < n; i++) {
      const y = up ? n - 1 - i : i;
      for (const x of [right, right - 1]) {
        if (!isOurs(x, y, n, marks)) bits.push(grid[y][x] ^ (form.mask(x, y) === 0 ? 1 : 0));
      }
    }
  }
  const bytes = Array.from({ length: ALL[version - 1] }, (_, i) => bits.slice(8 * i, 8 * i + 8).reduce((sum, bit) => 2 * sum + bit, 0));
  const [count, spare] = SPLIT[form.level][version - 1], short = Math.floor(bytes.length / count) - spare;
  const long = bytes.length % count, blocks = Array.from({ length: count }, () => []);
  let at = 0;
  for (let i = 0; i <= short; i++) for (let b = i < short ? 0 : count - long; b < count; b++) blocks[b].push(bytes[at++]);
  for (let i = 0; i < spare; i++) for (let b = 0; b < count; b++) blocks[b].push(bytes[at++]);
  if (!blocks.every((block) => mend(block, spare))) return null;
  return wordsOf(blocks.flatMap((block) => block.slice(0, block.length - spare)), version);
}

const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";

function wordsOf(bytes, version) {
  let at = 0;
  const left = () => 8 * bytes.length - at;
  const take = (count) => {
    let value = 0;
    for (let i = 0; i < count; i++, at++) value = 2 * value + ((bytes[at >> 3] >> (7 - (at & 7))) & 1);
    return value;
  };
  const large = version > 9, found = [];
  const add = (text) => found.push(...new TextEncoder().encode(text));
  while (left() >= 4) {
    const mode = take(4);
    if (mode === 0) break;
    if (mode === 7) { // another alphabet: only its short form, and read as if it were ours
      take(8);
      continue;
    }
    if (![1, 2, 4].includes(mode)) return null;
    const size = { 1: large ? 12 : 10, 2: large ? 11 : 9, 4: large ? 16 : 8 }[mode];
    if (left() < size) return null;
    let count = take(size);
    if (mode === 4) while (count-- > 0 && left() >= 8) found.push(take(8));
    else if (mode === 1) {
      for (; count > 0; count -= 3) {
        const digits = Math.min(3, count);
        add(String(take([0, 4, 7, 10][digits])).padStart(digits, "0"));
      }
    } else {
      for (; count > 1; count -= 2) {
        const pair = take(11);
        add((SIGNS[Math.floor(pair / 45)] ?? "") + (SIGNS[pair % 45] ?? ""));
      }
      if (count) add(SIGNS[take(6)] ?? "");
    }
  }
  if (!found.length) return null;
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(new Uint8Array(found));
  } catch {
    return new TextDecoder("latin1").decode(new Uint8Array(found)); // what the standard means where nothing is said
  }
}

// The text of the first code in a picture (ImageData), or null.
export function readPicture(picture) {
  for (const grid of grids(darkness(picture))) {
    const text = textOf(grid);
    if (text) return text;
  }
  return null;
}
