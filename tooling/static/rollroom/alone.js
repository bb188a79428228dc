// One at a time across the tabs of this browser. Web Locks where there are any (https and localhost);
// elsewhere a mark with a time in localStorage: two could slip through in the same millisecond,
// which the server's ids make harmless.
const LEASE_MS = 20000;
const LOOK_MS = 250;

export async function alone(name, work) {
  if (navigator.locks) return navigator.locks.request(name, work);
  const key = `alone-${name}`;
  const me = Math.random().toString(36).slice(2);
  while (taken(key, me)) await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
  const renewing = setInterval(() => mark(key, me), LEASE_MS / 4);
  try {
    return await work();
  } finally {
    clearInterval(renewing);
    localStorage.removeItem(key);
  }
}

function taken(key, me) {
  const [who, until] = (localStorage.getItem(key) || "").split(" ");
  if (who && who !== me && Number(until) > Date.now() && Number(until) < Date.now() + 2 * LEASE_MS) return true;
  mark(key, me);
  return false;
}

function mark(key, me) {
  localStorage.setItem(key, `${me} ${Date.now() + LEASE_MS}`);
}
