// What a page does again and again, four times a second, also while it is behind another page.

const EVERY_MS = 250;
const works = [];

function beat() {
  for (const work of works) {
    try {
      work();
    } catch (error) {
      console.error("One of the page's steps failed.", error);
    }
  }
}

/** Does this at every beat. */
export function each(work) {
  works.push(work);
}

export function start() {
  const plain = () => setInterval(beat, EVERY_MS);
  try {
    const ticks = new Worker(new URL("./ticks.js", import.meta.url));
    ticks.addEventListener("message", beat);
    ticks.addEventListener("error", plain, { once: true });
  } catch {
    plain();
  }
}
