// A signature drawn with finger or pen, sent as a PNG in a hidden field. Without script the name is typed.

const WIDTH = 640;
const HEIGHT = 176;

function pad(field) {
  const canvas = field.querySelector("[data-sign-canvas]");
  const value = field.querySelector("[data-sign-value]");
  canvas.width = WIDTH;
  canvas.height = HEIGHT;
  const ink = canvas.getContext("2d");
  const blank = () => {
    ink.fillStyle = "#fff";
    ink.fillRect(0, 0, WIDTH, HEIGHT);
    Object.assign(ink, { lineWidth: 2.5, lineCap: "round", lineJoin: "round", strokeStyle: "#000", fillStyle: "#000" });
    value.value = "";
  };
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [((event.clientX - box.left) / box.width) * WIDTH, ((event.clientY - box.top) / box.height) * HEIGHT];
  };
  let drawing = false;
  blank();
  canvas.addEventListener("pointerdown", (event) => {
    drawing = true;
    canvas.setPointerCapture(event.pointerId);
    const [x, y] = at(event);
    ink.beginPath();
    ink.moveTo(x, y);
    ink.lineTo(x + 0.1, y);
    ink.stroke();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!drawing) return;
    for (const step of event.getCoalescedEvents?.() ?? [event]) ink.lineTo(...at(step));
    ink.stroke();
  });
  for (const kind of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(kind, () => {
      if (!drawing) return;
      drawing = false;
      value.value = canvas.toDataURL("image/png");
      // Counts as typing, so that the form is not swapped away under the pen.
      value.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
  field.querySelector("[data-sign-clear]").addEventListener("click", blank);
  field.querySelector("[data-sign-pad]").hidden = false;
}

export function start() {
  const all = (root) => root.querySelectorAll("[data-sign]").forEach(pad);
  all(document);
  document.addEventListener("rinsebell:swapped", (event) => all(event.detail.part));
}
