// Forms marked [data-send-until-heard] are not lost with the connection: what was tapped or taken
// stays in this page and is sent again until the server has answered. The server tells a repeat
// from a second one (by the form's id, or by the picture itself). What it answers becomes the page.
//   data-words-sending, -offline, -logged-out   what [data-sending] in the form says meanwhile
import { csrfToken } from "./csrf.js";

const AGAIN_AFTER_MS = 2000;
const STRANGER = 'data-code="stale_form"';
const BETWEEN = new Set([502, 503, 504]);

function say(form, words) {
  const line = form.querySelector("[data-sending]");
  if (line) line.textContent = words || "";
}

function pause() {
  return new Promise((resolve) => {
    const timer = setTimeout(done, AGAIN_AFTER_MS);
    function done() {
      clearTimeout(timer);
      removeEventListener("online", done);
      resolve();
    }
    addEventListener("online", done);
  });
}

// The server names the next page instead of leading there, so that what it says waits for that
// page. Whoever logs in again on another tab has another token: the newest goes with each try.
async function heard(form, body) {
  const headers = { "X-Next-Page": "name it" };
  for (;;) {
    let trouble = form.dataset.wordsOffline;
    body.set("csrfmiddlewaretoken", csrfToken());
    try {
      const response = await fetch(form.action, { method: "POST", body, headers });
      const text = await response.text();
      if (response.redirected || text.includes(STRANGER)) trouble = form.dataset.wordsLoggedOut;
      else if (!BETWEEN.has(response.status)) return { response, text };
    } catch {
      // No answer at all: the same as a server that is just being started.
    }
    say(form, trouble);
    await pause();
  }
}

// A refusal is shown where the page shows problems, with the form as it was.
function refused(form, text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const problems = [...page.querySelectorAll(".problem")].map((each) => document.importNode(each, true));
  const place = document.getElementById("problems");
  if (!place || !problems.length) return false;
  place.replaceChildren(...problems);
  place.scrollIntoView({ block: "nearest" });
  return true;
}

function go(address) {
  const url = new URL(address, location.href);
  const here = url.pathname + url.search === location.pathname + location.search;
  if (here) {
    history.replaceState(null, "", url.href);
    location.reload();
  } else location.assign(url.href);
}

async function send(form, submitter) {
  if ("busy" in form.dataset) return;
  const body = new FormData(form);
  if (submitter?.name) body.append(submitter.name, submitter.value);
  form.dataset.busy = "";
  say(form, form.dataset.wordsSending);
  const { response, text } = await heard(form, body);
  delete form.dataset.busy;
  const next = response.headers.get("X-Next-Page");
  if (next) return go(next);
  say(form, "");
  form.querySelectorAll('input[type="file"]').forEach((field) => (field.value = ""));
  if (!refused(form, text)) location.reload();
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-send-until-heard]")) return;
  event.preventDefault();
  send(form, event.submitter);
});

addEventListener("beforeunload", (event) => {
  if (document.querySelector("[data-send-until-heard][data-busy]")) event.preventDefault();
});
