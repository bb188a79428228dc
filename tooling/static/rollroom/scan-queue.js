// Scans go to the server from what this device keeps (scan-store.js): in order, in batches, one tab at
// a time, with the token of now. A scan stays until the server has named its id; on any answer other
// than success all stay and are sent again later. What another person took waits for that person, or
// until somebody sends it in their own name.
import { alone } from "./alone.js";
import { csrfToken } from "./csrf.js";
import { BADGE_SCANNED, withoutBadge } from "./scan-badge.js";
import { theStore } from "./scan-store.js";
import { deviceId } from "./uuid.js";

export { csrfToken };

const MOST_PER_BATCH = 100;
const RETRY_MS = [1000, 2000, 5000, 10000];
const ANSWER_MS = 20000;
const SESSION = "/scan/session/";
const NEWS = "rollroom-scans";

// In order, and never to two addresses at once.
function batches(rows) {
  const found = [];
  for (const row of rows) {
    const last = found.at(-1);
    if (last && last[0].url === row.url && last.length < MOST_PER_BATCH) last.push(row);
    else found.push([row]);
  }
  return found;
}

export class ScanQueue {
  // onResult(scan, result, isMine): isMine where this very page took it. onWaiting(count, problem,
  // row): problem is "", "offline", "logged-out", "other-person" or a sentence of the server.
  constructor(url, { onResult, onWaiting, person = "" }) {
    this.url = url;
    this.onResult = onResult;
    this.onWaiting = onWaiting;
    this.person = person;
    this.problem = "";
    this.mine = new Set();
    this.failures = 0;
    this.news = "BroadcastChannel" in window ? new BroadcastChannel(NEWS) : null;
    this.news?.addEventListener("message", ({ data }) => this.heard(data));
    window.addEventListener("online", () => this.flush());
    document.addEventListener("visibilitychange", () => document.hidden || this.flush());
    window.addEventListener("beforeunload", (event) => {
      if (this.isLost) event.preventDefault();
    });
    this.flush();
  }

  // Kept when this resolves. Raises QuotaExceededError where the device has no room left.
  // "into" is the place in words, for a list to read.
  async add(scan, into = "") {
    const store = await theStore();
    this.mine.add(scan.id);
    try {
      await store.add({ id: scan.id, url: this.url, person: this.person, into, scan });
    } catch (error) {
      this.mine.delete(scan.id);
      throw error;
    }
    this.news?.postMessage([]);
    this.flush();
    return store.isDurable;
  }

  // Asked while one is at work, it goes round once more: what was added meanwhile is not left.
  async flush() {
    this.again = true;
    if (this.isFlushing) return;
    this.isFlushing = true;
    clearTimeout(this.timer);
    try {
      while (this.again) {
        this.again = false;
        await this.tell();
        this.problem = await alone("rollroom-flush", () => this.drain());
        if (this.problem) break;
      }
    } catch {
      this.problem = "offline";
    }
    this.isFlushing = false;
    await this.tell();
    this.later();
  }

  later() {
    if (!this.problem) {
      this.failures = 0;
      return;
    }
    const wait = RETRY_MS[Math.min(this.failures, RETRY_MS.length - 1)];
    this.failures += 1;
    this.timer = setTimeout(() => this.flush(), wait);
  }

  async tell() {
    const store = await theStore();
    const waiting = await store.count("waiting");
    this.isLost = waiting > 0 && !store.isDurable;
    this.onWaiting(waiting, this.problem);
  }

  // All that waits, batch after batch; gives the problem that ended it, or "".
  async drain() {
    const store = await theStore();
    const tried = new Set();
    let left = "";
    for (;;) {
      const rows = (await store.waiting()).filter((row) => !tried.has(row.id));
      if (!rows.length) return left;
      const who = await this.session();
      if (typeof who === "string") return who;
      for (const row of rows) tried.add(row.id);
      const ours = rows.filter((row) => !row.person || row.person === this.person);
      if (ours.length < rows.length) left ||= "other-person";
      for (const batch of batches(ours)) {
        const { problem, setAside } = await this.send(batch[0].url, batch);
        if (problem) return problem;
        left = setAside || left;
      }
    }
  }

  // Who is logged in now: asked once for each token, as another log-in brings another token. The way to
  // the log-in page is not gone: it would bring a token too, in the middle of somebody's logging in.
  async session() {
    const token = csrfToken();
    if (token && token === this.verified?.cookie) return this.verified;
    try {
      const answer = await fetch(SESSION, {
        credentials: "same-origin",
        headers: { Accept: "application/json" },
        cache: "no-store",
        redirect: "manual",
        signal: AbortSignal.timeout(ANSWER_MS),
      });
      if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) return "logged-out";
      if (!answer.ok) return "offline";
      const told = await answer.json();
      this.person = told.person;
      this.verified = { ...told, cookie: csrfToken() };
      return this.verified;
    } catch {
      return "offline";
    }
  }

  // Sends one batch; gives {problem} that ends the round, or {setAside}: what the server says of a
  // scan that it will not read, which stays here while the others go on.
  async send(url, rows, triedAnew = false) {
    const answer = await this.post(url, rows).catch(() => null);
    if (!answer) return { problem: "offline" };
    if (answer.redirected) return this.forget({ problem: "logged-out" });
    const told = await answer.json().catch(() => null);
    if (answer.status === 401 || answer.status === 403) return this.refusedWhole(told, url, rows, triedAnew);
    if (!answer.ok) return this.notTaken(answer, told, url, rows);
    return this.settle(rows, told?.results);
  }

  post(url, rows) {
    const scans = rows.map(({ scan, sequence }) => ({ ...scan, sequence }));
    const body = { device: deviceId(), device_now: new Date().toISOString(), scans };
    return fetch(url, {
      method: "POST",
      credentials: "same-origin",
      headers: { "Content-Type": "application/json", "X-CSRFToken": csrfToken() || this.verified.token },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(ANSWER_MS),
    });
  }

  forget(outcome) {
    this.verified = null;
    return outcome;
  }

  // The token may have gone stale, or the log-in: ask who is there, then try once with the new token.
  async refusedWhole(told, url, rows, triedAnew) {
    const before = this.person;
    this.forget();
    const who = await this.session();
    if (typeof who === "string") return { problem: who };
    if (triedAnew || who.person !== before) return { problem: told?.message || "logged-out" };
    return this.send(url, rows, true);
  }

  // One scan that the server cannot read must not stop the others for ever: a batch that is refused
  // as such goes one by one.
  async notTaken(answer, told, url, rows) {
    const isStated = answer.status >= 400 && answer.status < 500 && answer.status !== 429 && told?.code;
    if (!isStated || !told.message) return { problem: told?.message || "offline" };
    if (rows.length === 1) {
      const { code, message } = told;
      await (await theStore()).change(new Map([[rows[0].id, { code, message }]])); // waits on, with the reason
      return { setAside: message };
    }
    let setAside = "";
    for (const row of rows) {
      const outcome = await this.send(url, [row]);
      if (outcome.problem) return outcome;
      setAside ||= outcome.setAside;
    }
    return { setAside };
  }

  async settle(rows, results) {
    const byId = new Map((results || []).map((result) => [result.id, result]));
    const answered = rows.filter((row) => byId.has(row.id));
    if (!answered.length) return { problem: "offline" }; // an answer that names none is no answer
    const store = await theStore();
    const at = new Date().toISOString();
    const changes = new Map(answered.map(({ id, scan }) => {
      const { status, code, message, place } = byId.get(id);
      const news = { status: status === "refused" ? "refused" : "taken", code, message, place, at };
      return [id, code === BADGE_SCANNED ? { ...news, scan: withoutBadge(scan) } : news];
    }));
    await store.change(changes);
    await store.trim();
    const pairs = answered.map((row) => ({ row: { ...row, ...changes.get(row.id) }, result: byId.get(row.id) }));
    this.news?.postMessage(pairs);
    await this.heard(pairs);
    return { setAside: answered.length < rows.length ? "offline" : "" };
  }

  // From this tab or another: each page shows what it took itself; all know that the number changed.
  heard(pairs) {
    for (const { row, result } of pairs || []) {
      const isMine = this.mine.delete(row.id);
      queueMicrotask(() => this.onResult(row.scan, result, isMine)); // what a page shows is no matter of sending
    }
    return this.tell();
  }

  // What others took on this device goes in the name of who is here.
  async sendAsMine() {
    const store = await theStore();
    const rows = await store.waiting();
    await store.change(new Map(rows.map((row) => [row.id, { person: this.person }])));
    this.flush();
  }

}
