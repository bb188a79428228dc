// Scans wait here until the server has named their id: one batch at a time, in order, kept on
// any answer other than success, tried again later.
import { deviceId } from "./uuid.js";

const MOST_PER_BATCH = 50;
const RETRY_MS = [1000, 2000, 5000, 10000];

export function csrfToken() {
  const cookie = /(?:^|; )(?:__Host-)?csrftoken=([^;]+)/.exec(document.cookie); // the former on https
  if (cookie) return decodeURIComponent(cookie[1]);
  return document.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";
}

export class ScanQueue {
  // onResult(scan, result), onWaiting(count, problem): problem is "", "offline", "logged-out" or
  // a sentence of the server.
  constructor(url, { onResult, onWaiting }) {
    this.url = url;
    this.onResult = onResult;
    this.onWaiting = onWaiting;
    this.waiting = [];
    this.isSending = false;
    this.failures = 0;
    window.addEventListener("online", () => this.flush());
    window.addEventListener("beforeunload", (event) => {
      if (this.waiting.length) event.preventDefault();
    });
  }

  add(scan) {
    this.waiting.push(scan);
    this.flush();
  }

  async flush() {
    if (this.isSending || !this.waiting.length) return;
    this.isSending = true;
    clearTimeout(this.timer);
    const problem = await this.send(this.waiting.slice(0, MOST_PER_BATCH));
    this.isSending = false;
    this.onWaiting(this.waiting.length, problem);
    if (!problem) {
      this.failures = 0;
      this.flush();
      return;
    }
    const wait = RETRY_MS[Math.min(this.failures, RETRY_MS.length - 1)];
    this.failures += 1;
    this.timer = setTimeout(() => this.flush(), wait);
  }

  async send(scans) {
    const body = { device: deviceId(), device_now: new Date().toISOString(), scans };
    try {
      const response = await fetch(this.url, {
        method: "POST",
        credentials: "same-origin",
        headers: { "Content-Type": "application/json", "X-CSRFToken": csrfToken() },
        body: JSON.stringify(body),
      });
      if (response.status === 401 || response.status === 403) return "logged-out";
      if (!response.ok) return (await this.sentence(response)) || "offline";
      this.take(scans, (await response.json()).results);
      return "";
    } catch {
      return "offline";
    }
  }

  async sentence(response) {
    try {
      return (await response.json()).message;
    } catch {
      return "";
    }
  }

  take(scans, results) {
    const byId = new Map(results.map((result) => [result.id, result]));
    this.waiting = this.waiting.filter((scan) => !byId.has(scan.id));
    for (const scan of scans) {
      if (byId.has(scan.id)) this.onResult(scan, byId.get(scan.id));
    }
  }
}
