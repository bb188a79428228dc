// What works on this device, tried rather than asked: a browser that shows a page behind a
// certificate that was clicked away says "secure" and still refuses a service worker.

async function worker(list) {
  if (!("serviceWorker" in navigator)) return false;
  const address = list.dataset.worker;
  const registration = await navigator.serviceWorker.register(address, { scope: `${address}?tried` });
  await registration.unregister();
  return true;
}

function storage() {
  return new Promise((resolve) => {
    const name = "rollroom-device-check";
    const asked = indexedDB.open(name);
    asked.onerror = () => resolve(false);
    asked.onsuccess = () => {
      asked.result.close();
      indexedDB.deleteDatabase(name);
      resolve(true);
    };
  });
}

async function camera() {
  if (!navigator.mediaDevices?.getUserMedia) return false;
  const devices = await navigator.mediaDevices.enumerateDevices();
  return devices.some((device) => device.kind === "videoinput");
}

const CHECKS = {
  secure: () => window.isSecureContext,
  worker,
  storage,
  locks: () => "locks" in navigator,
  camera,
  // Known for sure only once a camera is on: see tryCamera.
  torch: () => false,
  installed: () => matchMedia("(display-mode: standalone)").matches || navigator.standalone === true,
  // Desk browsers have the function and no motor; a finger on the screen tells a phone.
  vibration: () => "vibrate" in navigator && matchMedia("(any-pointer: coarse)").matches,
};

async function tried(check, list) {
  try {
    return await check(list);
  } catch {
    return false;
  }
}

async function tryCamera(row, torch) {
  try {
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" } } });
    torch.dataset.state = stream.getVideoTracks()[0].getCapabilities?.().torch ? "works" : "lacks";
    stream.getTracks().forEach((track) => track.stop());
    row.dataset.state = "works";
  } catch {
    row.dataset.state = "lacks";
  }
}

async function look(list) {
  for (const row of list.querySelectorAll("[data-check]")) {
    row.dataset.state = (await tried(CHECKS[row.dataset.check], list)) ? "works" : "lacks";
  }
  const row = list.querySelector("[data-check=camera]");
  const button = document.querySelector("[data-try-camera]");
  button.hidden = row.dataset.state !== "works";
  button.addEventListener("click", () => tryCamera(row, list.querySelector("[data-check=torch]")));
}

const list = document.querySelector("[data-checks]");
if (list) look(list);
