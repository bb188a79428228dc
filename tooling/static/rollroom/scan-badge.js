// A badge names who works on this shared tablet from now on. What is on it is a secret: it is never
// taken for a scan, kept or shown.
import { csrfToken } from "./csrf.js";

const OURS = /^\s*BADGE-/i;

export function isBadge(text) {
  return OURS.test(text);
}

// Gives the problem {code, message}, or null and leads to the same page in that person's name.
export async function changePerson(badge, words) {
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
