// The Scan page: two beats, where and then what. A wedge scanner, or fingers, write into
// #scan-field; Enter ends a code. Marks and page data come from the data- attributes of [data-scan]:
//   data-scans-url   POST batches (see scan-queue.js)
//   data-read-url    GET ?code= → {is_place, code, name, said, url}: what a code is, where it belongs;
//                    or {code, message, todo, todo_url}: why it is nothing, what to do and where
//   data-idle-s      the context is let go after so long without a scan
//   data-guard-s     the same label within so long in the same context counts once
//   data-to, data-to-name   a context to begin with (from a place's own page)
import { ScanQueue } from "./scan-queue.js";
import { Signal } from "./scan-signal.js";
import { uuid } from "./uuid.js";

const ROWS_KEPT = 10;
const WEDGE_MS_PER_KEY = 40;
// Labels that are somewhere to put things: place, mill station, kit. A cart is both: it is a
// context when there is none, else it is what is put away.
const ALWAYS_A_CONTEXT = /^[PMK][0-9A-Z]{6}[0-9A-Z*]$/;
const CART = /^C[0-9A-Z]{6}[0-9A-Z*]$/;
const TICK_INSTEAD = new Set(["unknown_code", "bad_check_character", "ambiguous_mark"]);
const PIECE = /^[RSDLH][0-9A-Z]{6}[0-9A-Z*]$/;
const NO_PIECE = /^[BCTKPM][0-9A-Z]{6}[0-9A-Z*]/;
const CODE = /^[RSDLHBPCTKM][0-9A-Z]{6}[0-9A-Z*]$/;

export function folded(text) {
  const code = text.toUpperCase().replace(/[\s-]/g, "").replace(/O/g, "0").replace(/I/g, "1");
  return CODE.test(code) ? code : text.trim();
}

function button(href, words, kind = "") {
  const link = document.createElement("a");
  link.className = `button ${kind}`.trim();
  link.href = href;
  link.textContent = words;
  return link;
}

function actions(...buttons) {
  const row = document.createElement("div");
  row.className = "actions";
  row.append(...buttons);
  return row;
}

function linkTo(href, words) {
  return actions(button(href, words));
}

class ScanPage {
  constructor(root) {
    this.root = root;
    this.words = root.dataset;
    this.field = document.getElementById("scan-field");
    this.context = root.querySelector("[data-context]");
    this.rows = root.querySelector("[data-rows]");
    this.waitingLine = root.querySelector("[data-waiting]");
    this.answer = root.querySelector("[data-answer]");
    this.signal = new Signal(document.querySelector("[data-flash]"));
    this.queue = new ScanQueue(root.dataset.scansUrl, {
      onResult: (scan, result) => this.answered(scan, result),
      onWaiting: (count, problem) => this.sayWaiting(count, problem),
    });
    this.recent = new Map();
    this.keys = { count: 0, first: 0, last: 0 };
    this.to = "";
    if (root.dataset.to) this.enter({ code: root.dataset.to, name: root.dataset.toName }, true);
    this.listen();
    this.focus();
  }

  listen() {
    this.field.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.read(this.field.value);
    });
    this.field.addEventListener("keydown", () => this.countKey());
    // A finger on the field wants the keyboard; the focus that the page keeps does not.
    this.field.addEventListener("pointerdown", () => (this.field.inputMode = "text"));
    this.root.addEventListener("click", (event) => this.clicked(event));
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.leave();
      if (event.target === document.body && event.key.length === 1 && !event.ctrlKey) this.focus();
    });
    document.addEventListener("visibilitychange", () => !document.hidden && this.focus());
  }

  // The buttons belong to plain forms; here the page does their work without leaving.
  clicked(event) {
    const button = event.target.closest("[data-undo], [data-leave], [data-tick], [data-enter]");
    if (button) event.preventDefault();
    if (button?.matches("[data-undo]")) this.undo(button.closest("[data-id]"));
    if (button?.matches("[data-leave]")) this.leave();
    if (button?.matches("[data-tick]")) this.tick(button.dataset.tick);
    if (button?.matches("[data-enter]")) this.read(button.dataset.enter);
    if (!event.target.closest("a, input, select, textarea, summary")) this.focus();
  }

  focus() {
    this.field.focus({ preventScroll: true });
  }

  countKey() {
    const now = performance.now();
    if (!this.field.value) this.keys = { count: 0, first: now, last: now };
    this.keys.count += 1;
    this.keys.last = now;
  }

  // A wedge types a whole code faster than any hand.
  how() {
    const { count, first, last } = this.keys;
    return count >= 6 && (last - first) / (count - 1) < WEDGE_MS_PER_KEY ? "scan" : "typed";
  }

  read(text) {
    const code = folded(text);
    const how = this.how();
    this.field.value = "";
    this.field.inputMode = "none";
    this.keys = { count: 0, first: 0, last: 0 };
    if (!code) return;
    this.rest();
    if (!this.to || ALWAYS_A_CONTEXT.test(code) || (CART.test(code) && CART.test(this.to))) {
      this.ask(code, how);
    } else {
      this.put(code, how);
    }
  }

  // What is this code? A place becomes the context; without a context a piece says where it is.
  async ask(code, how) {
    try {
      const url = `${this.words.readUrl}?code=${encodeURIComponent(code)}`;
      const response = await fetch(url, { headers: { Accept: "application/json" } });
      if (response.redirected) throw new Error("logged out");
      const what = await response.json();
      if (!response.ok) this.refuse(what.code, what.message, code, what);
      else if (what.is_place) this.enter(what);
      else if (this.to) this.put(code, how);
      else this.tell(what);
    } catch {
      this.refuse("no_connection", this.words.wordsOffline);
    }
  }

  setTo(code) {
    this.to = code;
    for (const field of this.root.querySelectorAll("[data-to-field]")) field.value = code;
  }

  enter(place, quietly = false) {
    this.setTo(place.code);
    this.context.dataset.set = "";
    this.context.querySelector("[data-context-name]").textContent = place.name;
    this.context.querySelector("[data-context-said]").textContent = this.words.wordsInto;
    this.context.querySelector("[data-leave]").hidden = false;
    this.answer.replaceChildren();
    this.rest();
    if (!quietly) this.signal.show("context", place.name, place.said);
  }

  leave() {
    if (!this.to) return;
    this.setTo("");
    delete this.context.dataset.set;
    this.context.querySelector("[data-context-name]").textContent = this.words.wordsWhere;
    this.context.querySelector("[data-context-said]").textContent = this.words.wordsFirst;
    this.context.querySelector("[data-leave]").hidden = true;
  }

  // The context ends by itself when nobody scans.
  rest() {
    clearTimeout(this.idle);
    this.idle = setTimeout(() => this.leave(), Number(this.words.idleS) * 1000);
  }

  tell(what) {
    this.signal.show("taken", what.code, what.said);
    const line = document.createElement(what.url ? "a" : "p");
    line.textContent = `${what.code} · ${what.said}`;
    if (what.url) line.href = what.url;
    this.answer.replaceChildren(line);
    if (PIECE.test(what.code)) this.answer.append(this.ways({ code: what.code }));
  }

  // What was just scanned may be damaged: one tap to stop it or to say its condition.
  ways(scan) {
    const query = new URLSearchParams(scan);
    return actions(
      button(`${this.words.stopUrl}?${query}`, this.words.wordsStop, "leaving"),
      button(`${this.words.conditionUrl}?${query}`, this.words.wordsCondition),
    );
  }

  put(code, how) {
    const guard = `${this.to} ${code}`;
    const now = performance.now();
    if (now - (this.recent.get(guard) ?? -Infinity) < Number(this.words.guardS) * 1000) return;
    this.recent.set(guard, now);
    this.send({ to: this.to, code, how });
  }

  // An unreadable label never strands a roll: it is ticked on a list.
  tick(code) {
    if (this.to) this.send({ to: this.to, code, how: "tick" });
    else this.refuse("no_context", this.words.wordsFirst);
  }

  undo(row) {
    const { id, code } = row.dataset;
    row.querySelector("[data-undo]").disabled = true;
    // No place: back to where it was before the movement that this one corrects.
    this.send({ to: "", code, how: "tick", corrects: id });
  }

  send(scan) {
    this.queue.add({ id: uuid(), happened_at: new Date().toISOString(), ...scan });
  }

  answered(scan, result) {
    if (scan.corrects) this.undone(scan, result);
    else this.addRow(scan, result);
    if (result.status === "refused") this.refuseScan(scan, result);
    else if (result.status === "repeated") this.signal.show("again", this.words.wordsAgain, result.message);
    else this.signal.show("taken", scan.corrects ? this.words.wordsUndone : this.words.wordsTaken, result.message);
  }

  // No dead end: what cannot be read, or names several, is ticked on a list.
  tickLink(text) {
    const query = new URLSearchParams({ to: this.to, find: text });
    return linkTo(`?${query}#tick`, this.words.wordsTick);
  }

  refuse(code, message, text = "", what = {}) {
    const problem = this.root.querySelector("template[data-problem]").content.cloneNode(true).firstElementChild;
    problem.dataset.code = code;
    problem.querySelector("p").textContent = message;
    if (TICK_INSTEAD.has(code)) problem.append(this.tickLink(text));
    if (what.todo_url) problem.append(linkTo(what.todo_url, what.todo));
    this.answer.replaceChildren(problem);
    this.signal.show("refused", this.words.wordsRefused, message);
    return problem;
  }

  // A batch answers with the sentence alone; what to do about a void label is asked for.
  async refuseScan(scan, result) {
    const problem = this.refuse(result.code, result.message, scan.code);
    if (result.code !== "void_label") return;
    try {
      const response = await fetch(`${this.words.readUrl}?code=${encodeURIComponent(scan.code)}`);
      const what = await response.json();
      if (what.todo_url) problem.append(linkTo(what.todo_url, what.todo));
    } catch {
      // The sentence says what to do; without a connection there is no page to go to.
    }
  }

  addRow(scan, result) {
    const row = this.root.querySelector("template[data-row]").content.cloneNode(true).firstElementChild;
    Object.assign(row.dataset, { id: scan.id, code: scan.code, to: scan.to, status: result.status });
    row.querySelector("[data-row-code]").textContent = scan.code;
    row.querySelector("[data-row-said]").textContent = result.message || result.place || "";
    if (result.status !== "taken") row.querySelector("form").remove();
    else if (NO_PIECE.test(scan.code)) this.answer.replaceChildren();
    else this.answerTo(scan);
    this.root.querySelector("[data-none]")?.remove();
    this.rows.prepend(row);
    while (this.rows.children.length > ROWS_KEPT) this.rows.lastElementChild.remove();
  }

  answerTo({ id, code }) {
    const line = document.createElement("p");
    line.textContent = code;
    this.answer.replaceChildren(line, this.ways({ scan: id, code }));
  }

  undone(scan, result) {
    const row = this.rows.querySelector(`[data-id="${scan.corrects}"]`);
    if (!row) return;
    if (result.status === "refused") row.querySelector("[data-undo]").disabled = false;
    else {
      row.dataset.status = "undone";
      row.querySelector("form").remove();
      this.recent.clear();
    }
  }

  sayWaiting(count, problem) {
    const said = { offline: this.words.wordsOffline, "logged-out": this.words.wordsLoggedOut }[problem];
    this.waitingLine.textContent = problem
      ? `${this.words.wordsWaiting.replace("{count}", count)} ${said || problem}`
      : "";
  }
}

const root = document.querySelector("[data-scan]");
if (root) new ScanPage(root);
