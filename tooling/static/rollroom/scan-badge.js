// A badge names who works on this shared tablet from now on. What is on it is a secret: it is never
// taken for a scan, kept or shown. Ours begin with a word of their own; of the shop's own only the
// server knows, and says so by the problem BADGE_SCANNED.
import { csrfToken } from "./csrf.js";
import { looksLikeCode } from "./scan-codes.js";

export const BADGE_SCANNED = "badge_scanned";
const OURS = /^\s*BADGE-/i;
const NOT_SHARED = "not_a_shared_tablet";
const ASK_MS = 2500;

// What is kept of a scan that turns out to have read a badge: all but what was on it.
export function withoutBadge(scan) {
  return { ...scan, code: "–" };
}

export class Badges {
  // page gives {words, isCutOff, wasCutOff, known, asking, refuse}.
  constructor(page) {
    this.page = page;
  }

  isOurs(text) {
    return OURS.test(text);
  }

  async read(text) {
    this.say(await this.changePerson(text));
  }

  // A text that is no label, and of which this device knows nothing, may be a badge of the shop's own:
  // nothing of one is to be kept, so the server is asked before it would be.
  async isSomebodys(text) {
    const { page } = this;
    if (page.isCutOff || looksLikeCode(text) || (await page.known.find(text))) return false;
    const told = await page.asking.server(text, ASK_MS);
    if (!told) page.wasCutOff();
    if (told?.problem?.code !== BADGE_SCANNED) return false;
    await this.afterAll(text, told.problem);
    return true;
  }

  // The server said that it is a badge: on a shared tablet it does what a badge does.
  async afterAll(text, told) {
    const problem = await this.changePerson(text);
    this.say(problem?.code === NOT_SHARED ? told : problem);
  }

  say(problem) {
    if (problem) this.page.refuse(problem.code, problem.message);
  }

  // Gives the problem {code, message}, or null and leads to the same page in that person's name.
  async changePerson(badge) {
    const { words } = this.page;
    const body = new FormData();
    body.set("csrfmiddlewaretoken", csrfToken());
    body.set("code", badge.trim());
    body.set("next", `${location.pathname}${location.search}`);
    try {
      const answer = await fetch(words.badgeUrl, { method: "POST", body, headers: { Accept: "application/json" } });
      const told = await answer.json();
      if (!answer.ok) return told;
      location.assign(told.next);
      return null;
    } catch {
      return { code: "no_connection", message: words.wordsBadgeNeedsServer };
    }
  }
}
