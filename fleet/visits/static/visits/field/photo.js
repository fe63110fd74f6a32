// A photo taken now, shrunk on the telephone, with time and place.
const LONGEST = 1280, QUALITY = 0.7, MOST = 400_000;

export async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  let side = LONGEST;
  for (let quality = QUALITY; ; quality -= 0.12) {
    const share = Math.min(1, side / Math.max(picture.width, picture.height));
    const canvas = new OffscreenCanvas(Math.max(1, Math.round(picture.width * share)), Math.max(1, Math.round(picture.height * share)));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await canvas.convertToBlob({ type: "image/jpeg", quality });
    if (blob.size <= MOST || quality < 0.35) return blob;
    side *= 0.85;
  }
}

// Where the telephone is, or null: no permission, no fix, no hurry.
export function place(patience = 8000) {
  return new Promise((done) => {
    if (!navigator.geolocation) return done(null);
    const late = setTimeout(() => done(null), patience + 500);
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        clearTimeout(late);
        done({ lat: coords.latitude, lon: coords.longitude, within_m: Math.round(coords.accuracy) });
      },
      () => {
        clearTimeout(late);
        done(null);
      },
      { enableHighAccuracy: true, timeout: patience, maximumAge: 60_000 },
    );
  });
}

export function apartKm(a, b) {
  const rad = Math.PI / 180, d = (x, y) => Math.sin(((x - y) * rad) / 2) ** 2;
  const s = d(a.lat, b.lat) + Math.cos(a.lat * rad) * Math.cos(b.lat * rad) * d(a.lon, b.lon);
  return 12742 * Math.asin(Math.min(1, Math.sqrt(s)));
}
