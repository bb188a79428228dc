// A bin by hand, on its own page and wherever one was scanned: the keypad writes into the number
// of its form, and the buttons say the number that they stand for.
export function press(key) {
  const number = key.closest("form").querySelector("[data-number]");
  if (key.dataset.key === "back") number.value = number.value.slice(0, -1);
  else if (key.dataset.key === "clear") number.value = number.defaultValue;
  else if (number.dataset.touched === undefined) number.value = key.dataset.key;
  else number.value = (number.value + key.dataset.key).slice(0, 7);
  number.dataset.touched = "";
  say(number);
}

// A number that was typed holds for every button; an empty one leaves each its own.
function say(number) {
  for (const told of number.form.querySelectorAll("[data-n]")) {
    told.textContent = number.value || told.dataset.n;
  }
}

export function listen(root) {
  root.querySelectorAll("[data-keypad]").forEach((keypad) => (keypad.hidden = false));
  root.querySelectorAll("[data-number]").forEach((number) => {
    number.inputMode = "none"; // the keypad below is the keyboard; a wedge or keys still type
    number.addEventListener("focus", () => {
      number.dataset.open = "";
      number.select();
    });
    number.addEventListener("input", () => {
      number.dataset.touched = "";
      say(number);
    });
  });
  root.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]");
    if (key) press(key);
  });
}

// On the Scan page a bin that was scanned is shown in the place of an answer; what is done there is
// sent without leaving. `page` is a ScanPage.
export async function showBin(page, code) {
  const query = new URLSearchParams({ code, to: page.to });
  let hand;
  try {
    const response = await fetch(`${page.words.binUrl}?${query}`, { signal: AbortSignal.timeout(8000) });
    if (response.redirected) throw new Error("logged out");
    const told = await response.text();
    if (!response.ok) {
      const { code: problem, message } = JSON.parse(told);
      page.refuse(problem, message, code);
      return;
    }
    hand = new DOMParser().parseFromString(told, "text/html").querySelector("[data-hand]");
  } catch {
    page.refuse("no_connection", page.words.wordsOffline);
    return;
  }
  page.answer.replaceChildren(document.adoptNode(hand));
  listen(hand);
  hand.addEventListener("submit", (event) => {
    event.preventDefault();
    send(page, hand, event.target, event.submitter);
  });
  hand.scrollIntoView({ block: "nearest" });
}

async function send(page, hand, form, button) {
  hand.querySelector(":scope > .problem.answered")?.remove();
  const body = new FormData(form, button);
  let told;
  try {
    const response = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
    if (response.redirected) throw new Error("logged out");
    told = await response.json();
  } catch {
    keep(page, hand, page.refuse("no_connection", page.words.wordsOffline));
    return;
  }
  if (told.code) {
    keep(page, hand, page.refuse(told.code, told.message));
    return;
  }
  page.answer.replaceChildren();
  if (told.id) page.addRow({ id: told.id, code: told.subject, to: "" }, { status: "taken", message: told.message });
  document.body.dispatchEvent(new CustomEvent("scanned"));
  page.signal.show("taken", page.words.wordsTaken, told.message);
  page.root.scrollIntoView({ block: "start" });
  page.focus();
}

// The problem stands above what was asked, which stays as it was typed.
function keep(page, hand, problem) {
  problem.classList.add("answered");
  hand.prepend(problem);
  page.answer.replaceChildren(hand);
  problem.scrollIntoView({ block: "center" });
}

for (const hand of document.querySelectorAll("main > .sheet-body > [data-hand]")) listen(hand);
