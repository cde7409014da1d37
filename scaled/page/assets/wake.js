// Keeps the screen on while a batch runs, where the browser can (it may only on the machine itself or over TLS).

const LOOK_MS = 5000;

/** Ask for a lit screen whenever `isWanted()`; where that is not possible nothing is lost but the light. */
export function keepAwake(isWanted) {
  if (!("wakeLock" in navigator)) return;
  let lock = null;
  setInterval(async () => {
    if (isWanted() && !document.hidden && (lock === null || lock.released)) {
      lock = await navigator.wakeLock.request("screen").catch(() => null);
    } else if (!isWanted() && lock !== null) {
      await lock.release();
      lock = null;
    }
  }, LOOK_MS);
}
