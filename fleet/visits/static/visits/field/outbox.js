// Records on their way home. A piece is frozen when a step is kept: its text never changes again, so that what comes
// home is byte for byte what was written here.
import { all, change, get, got, write } from "./db.js";
import { stamp } from "./clock.js";

const FORMAT = 1; // of a piece; the server reads every older one

// Freeze a record of a visit. `alter(row)` may change the visit's row in the same deal; `draft` is the id of the draft
// that it settles; `blob` the photo itself.
export async function freeze(visitKey, kind, data, { draft = null, alter = null, blob = null } = {}) {
  const text = JSON.stringify(data);
  const piece = {
    key: crypto.randomUUID(), visit: visitKey, kind, format: FORMAT, text, ...stamp(), state: "waiting",
    code: "", sentence: "", step: data.step || null,
  };
  await write(["pieces", "visits", "drafts", "photos"], (s) => {
    got(s.visits.get(visitKey), (row) => {
      row.seq = (row.seq || 0) + 1;
      row.begun = true;
      piece.seq = row.seq;
      piece.version = row.data.version;
      if (data.replaces) {
        got(s.pieces.get(data.replaces), (old) => old?.state === "refused" && s.pieces.put({ ...old, mended: true }));
      }
      if (kind === "step") row.kept = { ...row.kept, [data.step]: piece.key };
      if (alter) alter(row, piece);
      s.visits.put(row);
      s.pieces.put(piece);
      if (blob) s.photos.put({ key: piece.key, visit: visitKey, blob, size: blob.size, here: [] });
    });
    if (draft) got(s.drafts.get(draft), (old) => old && s.drafts.put({ ...old, settled: true }));
  });
  return piece;
}

export const onPhone = (piece) => piece.state === "waiting" || piece.state === "refused";

export const hereBytes = (photo) => photo.here.reduce((sum, [from, to]) => sum + to - from, 0);

export async function holding() {
  const pieces = await all("pieces"), photos = new Map((await all("photos")).map((p) => [p.key, p]));
  const waiting = pieces.filter((p) => p.state === "waiting");
  const pictures = pieces.filter((p) => photos.has(p.key) && p.state !== "refused");
  const refused = pieces.filter((p) => p.state === "refused" && !p.mended);
  const bytes = waiting.reduce((sum, p) => sum + p.text.length, 0)
    + pictures.reduce((sum, p) => sum + photos.get(p.key).size - hereBytes(photos.get(p.key)), 0);
  return { waiting, pictures, refused, bytes, toSettle: pieces.filter((p) => p.state === "to_settle") };
}

export async function mark(key, changes) {
  await change("pieces", key, (piece) => (piece ? { ...piece, ...changes } : undefined));
}

export const pieceOf = (key) => get("pieces", key);

// What stands for a step: the values of its last frozen piece.
export async function keptStep(row, code) {
  const key = row.kept?.[code];
  const piece = key ? await get("pieces", key) : null;
  return piece ? { piece, data: JSON.parse(piece.text) } : null;
}
