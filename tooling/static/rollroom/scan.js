// The Scan page: two beats, where and then what. A wedge scanner, or fingers, write into
// #scan-field; Enter ends a code. Marks and page data come from the data- attributes of [data-scan]:
//   data-scans-url   POST batches (see scan-queue.js)
//   data-read-url    GET ?code= → {is_place, code, name, said, url, …}: what a code is, where it
//                    belongs; or {code, message, todo, todo_url}: why it is nothing, what to do
//   data-idle-s      the context is let go after so long without a scan
//   data-guard-s     the same label within so long in the same context counts once
//   data-to, data-to-name   a context to begin with (from a place's own page)
//   data-only-home   guided put-away: a thing is taken only where it belongs
// After every scan that changed something the page's body hears "scanned".
import { ALWAYS_A_CONTEXT, BIN, CART, KIT, NO_PIECE, folded } from "./scan-codes.js";
import { actions, button, linkTo } from "./scan-parts.js";
import { ScanQueue } from "./scan-queue.js";
import { Signal } from "./scan-signal.js";
import { showBin } from "./stock.js";
import { uuid } from "./uuid.js";

const ROWS_KEPT = 10;
const WEDGE_MS_PER_KEY = 40;
const ASK_MS = 8000;
const TICK_INSTEAD = new Set(["unknown_code", "bad_check_character", "ambiguous_mark"]);

export class ScanPage {
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
    this.unread = [];
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
    this.due = this.root.querySelector("[data-due-on]");
    this.due?.addEventListener("change", () => this.backSoon());
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
    const button = event.target.closest("[data-undo], [data-leave], [data-tick], [data-enter], [data-put]");
    if (button) event.preventDefault();
    if (button?.matches("[data-undo]")) this.undo(button.closest("[data-id]"));
    if (button?.matches("[data-leave]")) this.leave();
    if (button?.matches("[data-tick]")) this.inTurn({ code: button.dataset.tick, how: "tick" });
    if (button?.matches("[data-enter]")) this.read(button.dataset.enter);
    if (button?.matches("[data-put]")) this.send({ to: button.dataset.putTo, code: button.dataset.put, how: "tick" });
    if (!event.target.closest("a, input, select, textarea, summary")) this.focus();
  }

  focus() {
    this.field.focus({ preventScroll: true });
  }

  // A day is set in several strokes; the scanner gets its field back when that is over.
  backSoon() {
    clearTimeout(this.back);
    this.back = setTimeout(() => this.focus(), 1500);
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
    this.inTurn({ code, how });
  }

  // What is scanned while a place is still asked for waits: it belongs there, not where the one
  // before went.
  async inTurn(said) {
    this.unread.push(said);
    if (this.isTaking) return;
    this.isTaking = true;
    try {
      while (this.unread.length) await this.take(this.unread.shift());
    } finally {
      this.isTaking = false;
    }
  }

  take({ code, how }) {
    if (how === "tick") return this.tick(code);
    if (!this.to || ALWAYS_A_CONTEXT.test(code) || (CART.test(code) && CART.test(this.to))) {
      return this.ask(code, how);
    }
    return this.put(code, how);
  }

  // What is this code? A place becomes the context; without a context a piece says where it is.
  async ask(code, how) {
    try {
      const url = `${this.words.readUrl}?code=${encodeURIComponent(code)}`;
      const signal = AbortSignal.timeout(ASK_MS);
      const response = await fetch(url, { headers: { Accept: "application/json" }, signal });
      if (response.redirected) throw new Error("logged out");
      const what = await response.json();
      if (!response.ok) this.notRead(this.refuse(what.code, what.message, code, what));
      else if (what.is_place) this.enter(what);
      else if (this.to) await this.put(code, how);
      else if (BIN.test(what.code) && this.words.binUrl) await showBin(this, what.code);
      else this.tell(what);
    } catch {
      this.notRead(this.refuse("no_connection", this.words.wordsUnread));
    }
  }

  // Nobody knows where: what was scanned after it must not go where the one before went.
  notRead(problem) {
    if (!this.to || !this.unread.length) return;
    const line = document.createElement("p");
    const codes = this.unread.splice(0).map((each) => each.code);
    line.textContent = this.words.wordsNotTaken.replace("{codes}", codes.join(", "));
    problem.append(line);
  }

  setTo(code) {
    this.to = code;
    for (const field of this.root.querySelectorAll("[data-to-field]")) field.value = code;
  }

  enter(place, quietly = false) {
    if (place.go) {
      window.location.assign(place.go);
      return;
    }
    this.setTo(place.code);
    if (!quietly) this.sayMore(place);
    this.context.dataset.set = "";
    this.context.querySelector("[data-context-name]").textContent = place.name;
    this.context.querySelector("[data-context-said]").textContent = this.words.wordsInto;
    this.context.querySelector("[data-leave]").hidden = false;
    this.answer.replaceChildren();
    this.rest();
    if (!quietly) this.signal.show("context", place.name, place.said);
  }

  // What else there is to a place: the day for one away, the way home for a cart.
  sayMore(place) {
    const part = (name) => this.context.querySelector(`[data-context-${name}]`);
    if (!this.due) return;
    part("due").hidden = this.due.disabled = !place.is_away;
    this.due.value = place.due_on || "";
    part("slip").href = part("slip").dataset.contextSlip + place.code;
    part("carries").hidden = !place.carries;
    part("walk").href = part("walk").dataset.contextWalk + place.code;
    part("home").hidden = !place.home_code || place.is_home;
    part("home-name").textContent = place.home || "";
    Object.assign(part("home").querySelector("[data-put]").dataset, { put: place.code, putTo: place.home_code || "" });
  }

  leave() {
    if (!this.to) return;
    this.setTo("");
    this.sayMore({});
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
    this.answer.replaceChildren(this.card(what));
    if (what.is_piece) this.answer.append(this.ways({ code: what.code }));
  }

  // What and where it is, and where it belongs with one tap to put it there.
  card(what) {
    const made = this.root.querySelector("template[data-card]")?.content.cloneNode(true).firstElementChild;
    if (!made) return this.line(what);
    const part = (name) => made.querySelector(`[data-card-${name}]`);
    part("name").textContent = what.name;
    if (what.url) part("name").href = what.url;
    else part("name").removeAttribute("href");
    part("said").textContent = what.said;
    part("home").hidden = !what.home && !what.why;
    part("where").hidden = !what.home;
    const word = part("word");
    word.textContent = what.is_home ? word.dataset.cardWordHome : word.dataset.cardWord;
    part("place").textContent = what.home;
    part("outer").textContent = what.home_outer;
    part("why").textContent = what.why;
    part("put").hidden = !what.home_code || what.is_home;
    Object.assign(made.querySelector("[data-put]").dataset, { put: what.code, putTo: what.home_code });
    return made;
  }

  line(what) {
    const line = document.createElement(what.url ? "a" : "p");
    line.textContent = `${what.code} · ${what.said}`;
    if (what.url) line.href = what.url;
    return line;
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
    if (BIN.test(code) && this.due && !this.due.disabled) this.askHowMany(code, how);
    else if (BIN.test(code) && this.words.binUrl && !KIT.test(this.to)) return showBin(this, code);
    else this.send({ ...this.where(), code, how });
  }

  // To where, until when, and whether only home.
  where() {
    const where = { to: this.to };
    if (this.due && !this.due.disabled) where.due_on = this.due.value || null;
    if (this.words.onlyHome !== undefined) where.only_home = true;
    return where;
  }

  // Of a bin that is handed out it matters how many.
  async askHowMany(code, how) {
    const ask = this.root.querySelector("template[data-how-many]").content.cloneNode(true).firstElementChild;
    const number = ask.querySelector("[name=quantity]");
    const where = this.where();
    ask.addEventListener("submit", (event) => {
      event.preventDefault();
      if (/^[1-9][0-9]{0,6}$/.test(number.value.trim())) {
        this.answer.replaceChildren();
        this.send({ ...where, code, how, quantity: Number(number.value) });
        this.focus();
      } else {
        this.signal.show("refused", this.words.wordsRefused, this.words.wordsNumber);
        number.select();
      }
    });
    this.answer.replaceChildren(ask);
    number.focus();
    const what = await this.whatIs(code);
    ask.querySelector("[data-how-many-of]").textContent = what.said || code;
    if (!number.value) number.value = what.count ?? "";
    number.select();
  }

  async whatIs(code) {
    try {
      const response = await fetch(`${this.words.readUrl}?code=${encodeURIComponent(code)}`);
      return await response.json();
    } catch {
      return {};
    }
  }

  // An unreadable label never strands a roll: it is ticked on a list.
  tick(code) {
    if (this.to) this.send({ ...this.where(), code, how: "tick" });
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
    if (result.status !== "refused") document.body.dispatchEvent(new CustomEvent("scanned"));
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

  // A batch answers with the sentence alone; the page of the thing, and what to do about a void
  // label, are asked for.
  async refuseScan(scan, result) {
    const problem = this.refuse(result.code, result.message, scan.code);
    if (TICK_INSTEAD.has(result.code)) return;
    const what = await this.whatIs(scan.code);
    if (what.todo_url) problem.append(linkTo(what.todo_url, what.todo));
    else if (what.url) problem.append(linkTo(what.url, this.words.wordsShow));
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

const root = document.querySelector("[data-scan]:not([data-counting])"); // counting.js has its own
if (root) new ScanPage(root);
