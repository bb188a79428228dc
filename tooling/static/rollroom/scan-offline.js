// Puts the service worker (/sw.js) in place, which opens the Scan page without the server. A new version
// takes over at once: what waits is not the worker's but the device's, and this page goes on as it is.
const LOOK_EVERY_MS = 60 * 60 * 1000;

export async function keepWorker({ onNewer }) {
  const workers = navigator.serviceWorker;
  if (!workers) return; // plain http: the browser has none
  let isKept = Boolean(workers.controller);
  workers.addEventListener("controllerchange", () => {
    if (isKept) onNewer(); // the first one only begins to keep this page
    isKept = true;
  });
  try {
    const registration = await workers.register("/sw.js", { scope: "/", updateViaCache: "none" });
    setInterval(() => registration.update().catch(() => {}), LOOK_EVERY_MS);
  } catch {
    // Refused, as with a certificate that was only clicked through: the page works while it is open.
  }
}
