// A button that measures seconds: press when the water enters the bucket, press when it is full.
// It reads the monotonic clock, so a phone clock that jumps does not matter.
export function stopwatch(words, done) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button watch";
  button.textContent = words.start;
  button.setAttribute("aria-pressed", "false");
  let began = null, ticking = 0;
  const show = () => {
    button.textContent = `${words.stop} · ${((performance.now() - began) / 1000).toFixed(1)} s`;
    ticking = requestAnimationFrame(show);
  };
  button.addEventListener("click", () => {
    if (began === null) {
      began = performance.now();
      button.setAttribute("aria-pressed", "true");
      show();
      return;
    }
    cancelAnimationFrame(ticking);
    const seconds = (performance.now() - began) / 1000;
    began = null;
    button.setAttribute("aria-pressed", "false");
    button.textContent = words.start;
    done(seconds);
  });
  return button;
}
