// While the focus is inside the ribbon, n and p go to the next and the previous trouble.
const step = { n: 1, p: -1 };

const troublesOf = (ribbon) => [...ribbon.querySelectorAll(".ribbon-station[data-trouble]")];

const goTo = (station) => {
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  station.scrollIntoView({ behavior: calm ? "auto" : "smooth", inline: "center", block: "nearest" });
  (station.querySelector("a[href]") ?? station).focus({ preventScroll: true });
};

document.addEventListener("keydown", (event) => {
  const ribbon = event.target.closest?.(".ribbon");
  if (!ribbon || !(event.key in step) || event.ctrlKey || event.metaKey || event.altKey) {
    return;
  }
  const troubles = troublesOf(ribbon);
  if (troubles.length === 0) {
    return;
  }
  const at = troubles.indexOf(event.target.closest(".ribbon-station"));
  const next = at < 0 && step[event.key] < 0 ? troubles.length - 1 : at + step[event.key];
  goTo(troubles[(next + troubles.length) % troubles.length]);
  event.preventDefault();
});
