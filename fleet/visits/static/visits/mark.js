// A pad on which a person makes their mark with the finger. The mark is kept as lines of points, each 0 to 1000 of the
// pad's width and height, so that it can be drawn again at any size.
export function pad(words, lines, changed) {
  const box = document.createElement("div");
  const canvas = document.createElement("canvas");
  canvas.className = "mark-pad";
  canvas.width = 832;
  canvas.height = 352;
  const pen = canvas.getContext("2d");
  pen.lineWidth = 6;
  pen.lineCap = pen.lineJoin = "round";
  pen.strokeStyle = "#111";
  let drawn = lines.map((line) => line.map((point) => [...point]));
  let current = null;
  const draw = () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    for (const line of drawn) {
      pen.beginPath();
      line.forEach(([x, y], i) => {
        const at = [(x / 1000) * canvas.width, (y / 1000) * canvas.height];
        if (i) pen.lineTo(...at);
        else { pen.moveTo(...at); pen.lineTo(at[0] + 0.1, at[1]); }
      });
      pen.stroke();
    }
  };
  const where = (event) => {
    const area = canvas.getBoundingClientRect();
    const part = (value, size) => Math.round(Math.min(1, Math.max(0, value / size)) * 1000);
    return [part(event.clientX - area.left, area.width), part(event.clientY - area.top, area.height)];
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    current = [where(event)];
    drawn.push(current);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!current || current.length > 400) return;
    const at = where(event), last = current[current.length - 1];
    if (Math.abs(at[0] - last[0]) + Math.abs(at[1] - last[1]) < 6) return;
    current.push(at);
    draw();
  });
  const end = () => {
    if (!current) return;
    current = null;
    changed(drawn);
  };
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);
  const clear = document.createElement("button");
  clear.type = "button";
  clear.className = "button";
  clear.textContent = words.clear;
  clear.addEventListener("click", () => {
    drawn = [];
    draw();
    changed(drawn);
  });
  draw();
  box.append(canvas, clear);
  return box;
}
