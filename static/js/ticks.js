// A worker that does nothing but tick: browsers slow the timers of a page that is behind another, not a worker's.
setInterval(() => postMessage(0), 250);
