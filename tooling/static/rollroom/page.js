// What every page does: says when it was last sure, shows a refused form's problem in place,
// follows a log-in that ran out, prints, goes back, and folds the More sheet away.

const STALE_AFTER_MS = 5000;

function words(template, time) {
  return template.replace("{time}", time);
}

function clock(date, zone) {
  const options = { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" };
  return date.toLocaleTimeString("en-GB", zone ? { ...options, timeZone: zone } : options);
}

class LastSure {
  constructor(element) {
    this.element = element;
    this.heard(new Date());
  }

  heard(serverTime) {
    this.serverTime = serverTime;
    this.heardAt = performance.now();
    this.element.classList.remove("lost");
    this.say(this.element.dataset.wordsSure);
  }

  check() {
    if (performance.now() - this.heardAt < STALE_AFTER_MS) return;
    this.element.classList.add("lost");
    this.say(this.element.dataset.wordsLost);
  }

  say(template) {
    this.element.textContent = words(template, clock(this.serverTime, this.element.dataset.zone));
  }
}

function watchSureness() {
  const element = document.querySelector("[data-sure]");
  if (!element) return;
  const sure = new LastSure(element);
  document.addEventListener("htmx:afterRequest", ({ detail }) => {
    if (!detail.successful) return;
    const served = detail.xhr.getResponseHeader("Date");
    sure.heard(served ? new Date(served) : new Date());
  });
  // Only a page that polls can go stale.
  if (document.querySelector('[hx-trigger*="every"]')) {
    setInterval(() => sure.check(), 1000);
  }
}

function problemsOf(responseText) {
  const page = new DOMParser().parseFromString(responseText, "text/html");
  return [...page.querySelectorAll(".problem")].map((problem) => document.importNode(problem, true));
}

function showProblems(problems, near) {
  const place = near.closest("[data-problems-here]") || document.getElementById("problems");
  if (!place) return;
  place.querySelectorAll(".problem.answered").forEach((old) => old.remove());
  problems.forEach((problem) => problem.classList.add("answered"));
  place.prepend(...problems);
  place.scrollIntoView({ block: "nearest" });
}

function isPolling(element) {
  return (element.getAttribute("hx-trigger") || "").includes("every");
}

const POLL_MS = 10000;

// What a person sent and has no answer to yet. Meanwhile no poll takes the page from under it: the
// answer finds its place, and the next poll brings what this one would have. A poll that hangs is
// given up, so that the next can ask.
const unanswered = new Set();
const polls = new WeakSet(); // of requests: what an answer's event names is where it goes, not who asked

document.addEventListener("htmx:beforeSend", ({ detail: { xhr, elt } }) => {
  if (isPolling(elt)) {
    polls.add(xhr);
    xhr.timeout = POLL_MS;
    return;
  }
  unanswered.add(xhr);
  xhr.addEventListener("loadend", () => {
    unanswered.delete(xhr);
    // Another answer replaced the form meanwhile: its refusal is told all the same.
    if (!elt.isConnected && xhr.status >= 400 && xhr.status < 500) showProblems(problemsOf(xhr.responseText), document.body);
  });
});

document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr, elt } = event.detail;
  if (xhr.responseURL && new URL(xhr.responseURL).pathname === "/login/") {
    event.detail.shouldSwap = false;
    location.assign(`/login/?next=${encodeURIComponent(location.pathname + location.search)}`);
    return;
  }
  if (polls.has(xhr) && unanswered.size) event.detail.shouldSwap = false;
  if (xhr.status >= 400 && xhr.status < 500 && !polls.has(xhr)) {
    const problems = problemsOf(xhr.responseText);
    if (problems.length) showProblems(problems, elt);
  }
});

function foldMoreAway(event) {
  const more = document.querySelector("details.more[open]");
  if (!more) return;
  if (event.type === "keydown" ? event.key === "Escape" : !more.contains(event.target)) {
    more.open = false;
    if (event.type === "keydown") more.querySelector("summary").focus();
  }
}

document.addEventListener("click", foldMoreAway);
document.addEventListener("keydown", foldMoreAway);

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
  if (event.target.closest("[data-back]")) history.back();
});

// Paper folds nothing away.
const unfolded = [];

addEventListener("beforeprint", () => {
  unfolded.push(...document.querySelectorAll("details[data-prints]:not([open])"));
  unfolded.forEach((fold) => (fold.open = true));
});
addEventListener("afterprint", () => unfolded.splice(0).forEach((fold) => (fold.open = false)));

document.addEventListener("change", (event) => {
  if (event.target.matches("[data-sends-form]")) event.target.form.requestSubmit();
});

watchSureness();
if (history.length > 1) {
  document.querySelectorAll("[data-back]").forEach((button) => (button.hidden = false));
}
document.querySelector('[aria-invalid="true"]')?.focus();
