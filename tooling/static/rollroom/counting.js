// Counting on the scan page's two beats: a place, then what lies there. Without a place of its own
// an entry means "where the record has it". What stands below is polled as [#count-live].
//   data-home, data-home-name   the count itself, as the place to come back to
//   data-live-url   GET ?at= → the live part with that place's rows
import { BIN, CART, folded } from "./scan-codes.js";
import { ScanPage } from "./scan.js";

const AGAIN_MS = 1000;
const NUMBER = /^[0-9]{1,7}$/;

class CountingPage extends ScanPage {
  // A cart is somewhere to look, a bin asks how many; all else is counted.
  put(code, how) {
    if (CART.test(code)) return this.ask(code, how);
    if (BIN.test(code)) return void this.askBin(code, how);
    return super.put(code, how);
  }

  // There is always somewhere: leaving a shelf leads back to the whole count.
  leave() {
    const { home, homeName } = this.words;
    if (this.to === home) return;
    this.enter({ code: home, name: homeName }, true);
    this.unfold("");
  }

  enter(place, quietly = false) {
    super.enter(place, quietly);
    this.context.querySelector("[data-leave]").hidden = place.code === this.words.home;
    if (!quietly) this.unfold(place.code);
  }

  // The rows of the place that was entered last: one question at a time, asked again until it is
  // answered, as each answer takes the place of what the one before asked from.
  async unfold(code) {
    this.wanted = code;
    if (this.isUnfolding || !window.htmx) return;
    this.isUnfolding = true;
    for (let asked; asked !== this.wanted; ) {
      asked = this.wanted;
      const url = `${this.words.liveUrl}?at=${encodeURIComponent(asked)}`;
      try {
        await window.htmx.ajax("GET", url, { target: "#count-live", swap: "outerHTML" });
      } catch {
        asked = undefined;
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
    }
    this.isUnfolding = false;
  }

  clicked(event) {
    const key = event.target.closest("[data-key]");
    const bin = event.target.closest("[data-bin]");
    if (bin) {
      event.preventDefault();
      this.askBin(bin.dataset.bin, "tick");
    } else if (key) {
      this.press(key);
    } else if (!event.target.closest(".bin-form")) {
      super.clicked(event);
    }
  }

  press(key) {
    const number = key.form.querySelector("[name=quantity]");
    number.value = key.dataset.key === "back" ? number.value.slice(0, -1) : number.value + key.dataset.key;
    number.focus();
  }

  async askBin(code, how) {
    const form = this.root.querySelector("template[data-bin-form]").content.cloneNode(true).firstElementChild;
    const number = form.querySelector("[name=quantity]");
    number.inputMode = "none";
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.sendBin(code, how, number);
    });
    form.querySelector("[data-bin-of]").textContent = code;
    this.answer.replaceChildren(form);
    form.scrollIntoView({ block: "nearest" });
    number.focus();
    const what = await this.whatIs(code);
    if (!form.isConnected) return; // another thing was scanned meanwhile
    if (what.message) this.refuse(what.code, what.message, code, what);
    else form.querySelector("[data-bin-of]").textContent = what.name || code;
  }

  sendBin(code, how, number) {
    if (!NUMBER.test(number.value.trim())) {
      this.signal.show("refused", this.words.wordsRefused, this.words.wordsNumber);
      number.select();
      return;
    }
    this.answer.replaceChildren();
    this.send({ to: this.to, code, how, quantity: Number(number.value) });
    this.focus();
  }

  // What is counted goes into no kit.
  sayWanted() {}

  answered(scan, result) {
    if (result.status === "refused") {
      if (result.code === "how_many") this.askBin(folded(scan.code), scan.how);
      else this.refuseScan(scan, result);
      return;
    }
    document.body.dispatchEvent(new CustomEvent("scanned"));
    const line = document.createElement("p");
    line.className = "counted";
    line.textContent = result.message;
    this.answer.replaceChildren(line);
    this.flash(result);
  }

  // What nobody expected looks and sounds otherwise than what was found.
  flash(result) {
    const { wordsAgain, wordsExtra, wordsBack, wordsTaken } = this.words;
    const words = { extra: wordsExtra, was_lost: wordsBack };
    if (result.status === "repeated") this.signal.show("again", wordsAgain, result.message);
    else if (words[result.code]) this.signal.show("again", words[result.code], result.message);
    else this.signal.show("taken", wordsTaken, result.message);
  }

  // No dead end: what cannot be read is ticked on the list of its place.
  tickLink() {
    const row = document.createElement("div");
    row.className = "actions";
    const link = document.createElement("a");
    link.className = "button";
    link.href = "#count-places";
    link.textContent = this.words.wordsTick;
    row.append(link);
    return row;
  }
}

const root = document.querySelector("[data-counting]");
const counting = root && new CountingPage(root);

// What had the focus, and where the page stood, outlives the answer of a poll.
let kept = null;

function sign(element) {
  if (!element || element === document.body) return "";
  if (element.id) return `#${CSS.escape(element.id)}`;
  const way = element.getAttribute("href");
  if (way) return `#count-live a[href="${CSS.escape(way)}"]`;
  return element.name ? `#count-live [name="${element.name}"][value="${CSS.escape(element.value)}"]` : "";
}

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  if (detail.target.id === "content") counting?.camera?.close(); // the result takes the page's place
  if (detail.target.id !== "count-live") return;
  kept = {
    top: window.scrollY,
    open: [...document.querySelectorAll("#count-live details[open]")].map((each) => each.id),
    focus: detail.target.contains(document.activeElement) ? sign(document.activeElement) : "",
  };
});

document.addEventListener("htmx:afterSwap", () => {
  if (!kept) return;
  for (const id of kept.open) {
    const fold = id && document.getElementById(id);
    if (fold) fold.open = true;
  }
  if (kept.focus) document.querySelector(kept.focus)?.focus({ preventScroll: true });
  window.scrollTo({ top: kept.top, behavior: "instant" });
  kept = null;
});
