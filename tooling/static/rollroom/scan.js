// The Scan page: two beats, where and then what. A wedge scanner, fingers or the camera write into
// #scan-field; Enter ends a code. Marks and page data come from the data- attributes of [data-scan]:
//   data-scans-url   POST batches (see scan-queue.js)
//   data-read-url    GET ?code= → {is_place, code, name, said, url, …}: what a code is, where it
//                    belongs; or {code, message, todo, todo_url}: why it is nothing, what to do
//   data-idle-s      the context is let go after so long without a scan
//   data-guard-s     the same label within so long in the same context counts once
//   data-to, data-to-name   a context to begin with (from a place's own page)
//   data-only-home   guided put-away: a thing is taken only where it belongs
//   data-person      who is logged in; on the empty page that a device keeps, nobody
// A scan is shown once this device has it on disk, then again with the server's answer.
// After every scan that changed something the page's body hears "scanned".
import { ScanAnswers } from "./scan-answers.js";
import { Asking } from "./scan-ask.js";
import { BADGE_SCANNED, Badges } from "./scan-badge.js";
import { ALWAYS_A_CONTEXT, BIN, CART, KIT, folded } from "./scan-codes.js";
import { Device } from "./scan-device.js";
import { Known } from "./scan-known.js";
import { ScanQueue } from "./scan-queue.js";
import { theStore } from "./scan-store.js";
import { Wants } from "./scan-wants.js";
import { uuid } from "./uuid.js";

const TAKEN_BEFORE = 20; // rows of this device, undoings among them
const WEDGE_MS_PER_KEY = 40;
const ANSWERED_WITHIN_MS = 1200;
const CUT_OFF_MS = 5000;
const CUT_OFF = new Set(["offline", "logged-out", "other-person"]);
const TYPED_INTO = "input:not([type=checkbox]), select, textarea";

// Sent again because the first answer was lost: it was taken then.
function onceTaken(result) {
  return result.status === "repeated" ? { ...result, status: "taken" } : result;
}

export class ScanPage extends ScanAnswers {
  constructor(root) {
    super(root);
    this.field = document.getElementById("scan-field");
    this.device = new Device(this, root.querySelector("[data-device]"));
    this.known = new Known({ onNews: (known) => this.device.sayKnown(known) });
    this.asking = new Asking(this);
    this.badges = new Badges(this);
    this.wants = new Wants(this);
    this.recent = new Map();
    this.names = new Map();
    this.unanswered = new Map(); // id → timer until which the server's answer is the first word
    this.unread = [];
    this.keys = { count: 0, first: 0, last: 0 };
    this.cutOffUntil = 0;
    this.queue = new ScanQueue(root.dataset.scansUrl, {
      person: this.device.person(),
      onResult: (scan, result, isMine) => this.heard(scan, result, isMine),
      onWaiting: (count, problem) => this.device.sayWaiting(count, problem),
    });
    this.known.begin();
    this.showCamera(Boolean(navigator.mediaDevices?.getUserMedia));
    const { to, toName: name, toOuter: outer = "" } = root.dataset;
    if (to) this.enter({ code: to, name, outer }, true);
    else if ("shell" in root.dataset) this.beginWith(new URLSearchParams(location.search).get("to"));
    this.listen();
    this.focus();
    if (this.device.panel) theStore().then((store) => this.showBefore(store));
    if (location.hash === "#camera") this.openCamera();
  }

  async showBefore(store) {
    const rows = await store.last(TAKEN_BEFORE);
    this.showTaken("shell" in this.words ? rows : rows.filter(({ status }) => status === "waiting"));
  }

  beginWith(code) {
    if (code) this.known.load().then(() => this.inTurn({ code, how: "typed" }));
  }

  listen() {
    this.field.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.read(this.field.value);
    });
    this.field.addEventListener("keydown", () => this.countKey());
    this.due?.addEventListener("change", () => this.backSoon());
    // A finger on the field wants the keyboard; the focus that the page keeps does not.
    this.field.addEventListener("pointerdown", () => (this.field.inputMode = "text"));
    this.root.addEventListener("click", (event) => this.clicked(event));
    document.addEventListener("keydown", (event) => this.pressed(event));
    document.addEventListener("visibilitychange", () => !document.hidden && this.focus());
  }

  // A scanner knows nothing of fields: what it types anywhere but in a field comes here.
  pressed(event) {
    if (event.key === "Escape") this.leave();
    if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
    const presses = event.key === " " && event.target !== document.body;
    if (!presses && !event.target.closest(TYPED_INTO)) this.focus();
  }

  // The buttons belong to plain forms; here the page does their work without leaving.
  clicked(event) {
    const button = event.target.closest("[data-undo], [data-leave], [data-tick], [data-enter], [data-put], [data-camera-open]");
    if (button) event.preventDefault();
    if (button?.matches("[data-undo]")) this.undo(button.closest("[data-id]"));
    if (button?.matches("[data-leave]")) this.leave();
    if (button?.matches("[data-tick]")) this.inTurn({ code: button.dataset.tick, how: "tick" });
    if (button?.matches("[data-enter]")) this.read(button.dataset.enter);
    if (button?.matches("[data-put]")) this.send({ to: button.dataset.putTo, code: button.dataset.put, how: "tick" });
    if (button?.matches("[data-camera-open]")) this.openCamera();
    if (!event.target.closest("a, input, select, textarea, summary")) this.focus();
  }

  showCamera(isThere) {
    const opens = this.root.querySelector("[data-camera-open]");
    if (opens) opens.hidden = !isThere;
  }

  // The empty page that the device keeps gets its choices and waits from what the device knows.
  offer(known) {
    if (!("shell" in this.words) || !known.head || this.offered === known.head.version) return;
    this.offered = known.head.version;
    Object.assign(this.words, { idleS: known.head.idle_s, guardS: known.head.guard_s });
    const choices = known.choices().map(({ code, name, job }) => {
      const item = document.createElement("li");
      const choice = document.createElement("button");
      choice.dataset.enter = code;
      choice.append(name, job ? ` (${this.words.wordsKitJob.replace("{job}", job)})` : "");
      item.append(choice);
      return item;
    });
    this.root.querySelector("[data-choices]").replaceChildren(...choices);
    this.root.querySelector("[data-choose]").hidden = !choices.length;
  }

  // The reader of pictures is larger than all the rest: it comes when somebody wants it.
  async openCamera() {
    const { Camera } = await import("./scan-camera.js");
    this.camera ??= new Camera(this, this.root.querySelector("[data-camera]"));
    await this.camera.open();
  }

  // A bin by hand needs the server, and so may its script.
  async showBin(code) {
    const stock = await import("./stock.js").catch(() => null);
    if (stock) await stock.showBin(this, code);
    else this.refuse("no_connection", this.words.wordsOffline);
  }

  // Where things go and what became of them are at the top, wherever the page was left.
  toTop() {
    if (!this.device.panel || this.words.cameraOn !== undefined) return;
    if (this.root.getBoundingClientRect().top < 0) this.root.scrollIntoView({ block: "start" });
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
    if (this.badges.isOurs(text)) {
      this.badges.read(text);
      return;
    }
    this.rest();
    this.toTop();
    const problem = this.asking.layoutProblem(text);
    if (problem) this.otherLayout(problem, { text, code, how });
    else this.inTurn({ code, how });
  }

  // A slow scanner seems a hand; what a hand types may be a mark.
  async otherLayout({ code: name, message }, { text, code, how }) {
    const isMark = how !== "scan" && (!this.known.head || (await this.known.find(text)));
    if (isMark) this.inTurn({ code, how });
    else this.refuse(name, message, text);
  }

  // What the camera read, being sure of it.
  seen(code) {
    this.rest();
    this.inTurn({ code, how: "scan" });
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

  async take({ code, how }) {
    if (how === "tick") return this.tick(code);
    if (this.to && (await this.badges.isSomebodys(code))) return undefined;
    if (!this.to || ALWAYS_A_CONTEXT.test(code) || (CART.test(code) && this.isNoPlaceForCart(code))) {
      return this.ask(code, how);
    }
    return this.put(code, how);
  }

  // A cart goes on no other and into no shelf: then it is where things go next.
  isNoPlaceForCart(code) {
    return CART.test(this.to) || this.known.isTooSmall(this.to, code);
  }

  // What is this code? A place becomes the context; without a context a piece says where it is.
  async ask(code, how) {
    const what = await this.asking.about(code);
    const { problem } = what;
    if (problem?.code === BADGE_SCANNED) await this.badges.afterAll(code, problem);
    else if (problem) this.notRead(this.refuse(problem.code, problem.message, code, problem));
    else if (what.is_place) this.enter(what);
    else if (this.to) await this.put(code, how);
    else if (BIN.test(what.code) && this.words.binUrl && !this.isCutOff) await this.showBin(what.code);
    else this.tell(what);
  }

  // Nobody knows where: what was scanned after it must not go where the one before went.
  notRead(problem) {
    if (!this.to || !this.unread.length) return;
    const line = document.createElement("p");
    const codes = this.unread.splice(0).map((each) => each.code);
    line.textContent = this.words.wordsNotTaken.replace("{codes}", codes.join(", "));
    problem.append(line);
  }

  async whatIs(code) {
    const what = await this.asking.about(code);
    return what.problem || what;
  }

  get isCutOff() {
    return navigator.onLine === false || CUT_OFF.has(this.queue.problem) || performance.now() < this.cutOffUntil;
  }

  wasCutOff() {
    this.cutOffUntil = performance.now() + CUT_OFF_MS;
  }

  asOf() {
    return this.device.asOf(this.known);
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
    this.sayOuter(this.outerOf(place));
    this.context.querySelector("[data-context-said]").textContent = this.words.wordsInto;
    this.context.querySelector("[data-leave]").hidden = false;
    this.answer.replaceChildren();
    this.rest();
    if (!quietly) this.signal.show("context", place.name, place.said);
  }

  sayOuter(text) {
    const outer = this.context.querySelector("[data-context-outer]");
    if (outer) outer.textContent = text;
  }

  leave() {
    if (!this.to) return;
    this.setTo("");
    this.sayMore({});
    delete this.context.dataset.set;
    this.context.querySelector("[data-context-name]").textContent = this.words.wordsWhere;
    this.context.querySelector("[data-context-said]").textContent = this.words.wordsFirst;
    this.sayOuter("");
    this.context.querySelector("[data-leave]").hidden = true;
  }

  // The context ends by itself when nobody scans.
  rest() {
    clearTimeout(this.idle);
    this.idle = setTimeout(() => this.leave(), Number(this.words.idleS) * 1000);
  }

  async put(code, how) {
    const guard = `${this.to} ${code}`;
    const now = performance.now();
    if (now - (this.recent.get(guard) ?? -Infinity) < Number(this.words.guardS) * 1000) {
      this.signal.show("again", this.words.wordsAgain, this.words.wordsAgainSaid.replace("{code}", this.nameOf(code)));
      return;
    }
    this.recent.set(guard, now);
    const own = this.isCutOff ? await this.known.find(code) : null;
    if (own?.is_piece) this.names.set(code, own.name);
    const problem = this.isCutOff && this.asking.certainProblem(code, own);
    if (problem) {
      this.recent.delete(guard);
      this.refuse(problem.code, problem.message, code);
    } else if (BIN.test(code) && this.due && !this.due.disabled) await this.askHowMany(code, how);
    else if (BIN.test(code) && this.words.binUrl && !KIT.test(this.to)) {
      await (this.isCutOff ? this.askHowMany(code, how) : this.showBin(code));
    } else if (!(await this.send({ ...this.where(), code, how }))) this.recent.delete(guard);
  }

  // To where, until when, and whether only home.
  where() {
    const where = { to: this.to };
    if (this.due && !this.due.disabled) where.due_on = this.due.value || null;
    if (this.words.onlyHome !== undefined) where.only_home = true;
    return where;
  }

  // An unreadable label never strands a roll: it is ticked on a list.
  async tick(code) {
    if (this.to) await this.send({ ...this.where(), code, how: "tick" });
    else this.refuse("no_context", this.words.wordsFirst);
  }

  undo(row) {
    const { id, code } = row.dataset;
    row.querySelector("[data-undo]").disabled = true;
    // No place: back to where it was before the movement that this one corrects.
    this.send({ to: "", code, how: "tick", corrects: id });
  }

  // Gives whether it was taken: only what this device could keep is.
  async send(said) {
    const scan = { id: uuid(), happened_at: new Date().toISOString(), ...said };
    if (await this.device.isFull()) return this.notKept();
    this.unanswered.set(scan.id, setTimeout(() => this.sayKept(scan), ANSWERED_WITHIN_MS));
    try {
      const isDurable = await this.queue.add(scan, this.into(scan));
      if (this.unanswered.has(scan.id)) this.kept(scan, isDurable);
      return true;
    } catch (error) {
      clearTimeout(this.unanswered.get(scan.id));
      this.unanswered.delete(scan.id);
      return this.notKept(error);
    }
  }

  notKept(error = { name: "QuotaExceededError" }) {
    const isFull = error.name === "QuotaExceededError";
    const { wordsFull, wordsNotKept } = this.words;
    this.refuse(isFull ? "device_full" : "device_cannot_keep", isFull ? wordsFull : wordsNotKept);
    return false;
  }

  // Where this scan puts something, in words.
  into({ to }) {
    if (!to || to !== this.to) return to || "–";
    const part = (name) => this.context.querySelector(`[data-context-${name}]`)?.textContent;
    return [part("outer"), part("name")].filter(Boolean).join(" / ");
  }

  // The device's own name of a code, with the mark, as far as it looked it up.
  nameOf(code) {
    return this.names.get(code) ?? code;
  }

  keptWords(scan, isDurable) {
    const words = isDurable ? this.words.wordsKept : this.words.wordsHeld;
    return words.replace("{place}", this.into(scan));
  }

  kept(scan, isDurable) {
    if (!scan.corrects) this.addRow(scan, { status: "waiting", message: this.keptWords(scan, isDurable) });
    if (!this.isCutOff) return;
    clearTimeout(this.unanswered.get(scan.id));
    this.sayKept(scan, isDurable);
  }

  // The server has not answered: what the hands may go on by is that this device has it.
  sayKept(scan, isDurable = true) {
    this.unanswered.delete(scan.id);
    const { wordsKeptWord, wordsKeptInto, wordsKeptUndo, wordsUndone } = this.words;
    if (scan.corrects) {
      const row = this.row(scan.corrects);
      if (row) this.markUndone(row, true);
      this.said(`${this.nameOf(scan.code)}: ${wordsKeptUndo}`, scan.corrects);
      this.signal.show("kept", wordsUndone, wordsKeptUndo);
      return;
    }
    const what = this.nameOf(scan.code);
    const said = wordsKeptInto.replace("{what}", what).replace("{place}", this.into(scan));
    const done = this.answerTo(scan, isDurable ? `${wordsKeptWord}: ${said}` : `${what}: ${this.keptWords(scan, false)}`);
    if (isDurable) this.signal.show("kept", wordsKeptWord, said);
    this.sayWanted(scan, done);
  }

  // Kept into a kit: whether it chose that, as far as this device knows, unless the server has answered.
  async sayWanted(scan, done) {
    const wanted = await this.wants.of(scan);
    if (!wanted || !done.isConnected) return;
    done.querySelector("p").after(Object.assign(document.createElement("p"), { className: "scan-wanted", textContent: wanted.said }));
    done.toggleAttribute("data-doubtful", wanted.isDoubtful);
    if (wanted.isDoubtful) this.signal.show("doubt", this.words.wordsDoubt, wanted.said);
  }

  // From the queue: of this page's own scans, and of what waited here before or on another tab.
  heard(scan, result, isMine) {
    const isPrompt = this.unanswered.has(scan.id);
    clearTimeout(this.unanswered.get(scan.id));
    this.unanswered.delete(scan.id);
    if (isMine && isPrompt) {
      if (result.status === "refused") this.device.dismiss(scan.id);
      this.answered(scan, result);
    } else this.heardLate(scan, result);
  }

  heardLate(scan, answer) {
    const result = onceTaken(answer);
    if (scan.corrects) this.undone(scan, result);
    else {
      this.addRow(scan, result);
      if (this.tells(scan.id) && result.status !== "refused") this.answerTo(scan, result.message);
      else if (this.tells(scan.id)) this.answer.replaceChildren();
    }
    if (result.status !== "refused") document.body.dispatchEvent(new CustomEvent("scanned"));
    else if (this.device.listsRefused) this.signal.show("refused", this.words.wordsRefused, result.message);
    this.device.showRefused();
  }

  answered(scan, answer) {
    const result = onceTaken(answer);
    if (scan.corrects) this.undone(scan, result);
    else {
      this.addRow(scan, result);
      if (result.status !== "refused") this.answerTo(scan, result.message);
    }
    if (result.status !== "refused") document.body.dispatchEvent(new CustomEvent("scanned"));
    if (result.status === "refused") {
      this.recent.delete(`${scan.to} ${scan.code}`); // once more is no repeat of what was not taken
      this.refuseScan(scan, result);
    }
    else this.signal.show("taken", scan.corrects ? this.words.wordsUndone : this.words.wordsTaken, result.message);
  }
}

const root = document.querySelector("[data-scan]:not([data-counting])"); // counting.js has its own
if (root) new ScanPage(root);
