// The pass ribbon: one key or tap to the next trouble; the place in it is kept when the server
// sends the kit anew; ticks of the pull list are sent as they are made.

function ribbon() {
  return document.getElementById("ribbon");
}

function isTurned() {
  const list = ribbon();
  return Boolean(list) && getComputedStyle(list).flexDirection === "column";
}

function show(station, { focus = true } = {}) {
  if (!station) return;
  document.querySelectorAll(".ribbon [data-now], .strip-marks [data-now]").forEach((old) => {
    delete old.dataset.now;
  });
  station.dataset.now = "";
  const mark = document.querySelector(`.strip-marks a[href="#${station.id}"]`);
  if (mark) mark.dataset.now = "";
  station.scrollIntoView({ block: isTurned() ? "start" : "nearest", inline: "center" });
  if (focus) station.focus({ preventScroll: true });
}

function nextTrouble() {
  const marks = [...document.querySelectorAll(".strip-marks a[data-trouble]")];
  if (!marks.length) return;
  const now = document.querySelector(".strip-marks a[data-now]");
  const all = [...document.querySelectorAll(".strip-marks li a")];
  const from = now ? all.indexOf(now) : -1;
  const next = marks.find((mark) => all.indexOf(mark) > from) || marks[0];
  show(document.querySelector(next.getAttribute("href")));
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-next-trouble], .strip-marks li a");
  if (!link) return;
  event.preventDefault();
  if (link.matches("[data-next-trouble]")) nextTrouble();
  else show(document.querySelector(link.getAttribute("href")));
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "F8" || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  nextTrouble();
});

// What the person was looking at, and had the focus on, outlives the answer of a poll.
let kept = null;

function sign(element) {
  if (!element || element === document.body) return "";
  if (element.id) return `#${CSS.escape(element.id)}`;
  const way = element.getAttribute("href");
  if (way) return `#kit-live a[href="${CSS.escape(way)}"]`;
  return element.name ? `#kit-live [name="${element.name}"][value="${element.value}"]` : "";
}

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  if (detail.target.id !== "kit-live") return;
  kept = {
    left: ribbon()?.scrollLeft ?? 0,
    top: window.scrollY,
    now: document.querySelector(".ribbon [data-now]")?.id,
    focus: detail.target.contains(document.activeElement) ? sign(document.activeElement) : "",
  };
});

document.addEventListener("htmx:afterSwap", () => {
  if (!kept) return;
  const list = ribbon();
  if (list) list.scrollLeft = kept.left;
  const station = kept.now && document.getElementById(kept.now);
  if (station) {
    station.dataset.now = "";
    const mark = document.querySelector(`.strip-marks a[href="#${station.id}"]`);
    if (mark) mark.dataset.now = "";
  }
  if (kept.focus) document.querySelector(kept.focus)?.focus({ preventScroll: true });
  window.scrollTo({ top: kept.top, behavior: "instant" });
  kept = null;
});

// A picture wider than the screen begins in its middle.
document.querySelectorAll(".shaft-frame").forEach((frame) => {
  frame.scrollLeft = (frame.scrollWidth - frame.clientWidth) / 2;
});

// On a kit's page the way back into the kit shows while another place is entered.
const place = document.querySelector(".kit-scan [data-context]");
if (place) {
  const own = document.querySelector(".kit-scan [data-enter]")?.dataset.enter;
  const field = document.querySelector(".kit-scan [data-to-field]");
  new MutationObserver(() => {
    if (own && field.value && field.value !== own) place.dataset.elsewhere = "";
    else delete place.dataset.elsewhere;
  }).observe(place, { subtree: true, childList: true, characterData: true });
}
