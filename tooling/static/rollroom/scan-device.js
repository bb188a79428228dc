// What the page says of this device: how many scans wait here, what came back refused, how old that is
// which it knows, whether it has room. Its marks stand in [data-device]; a page without them gets the
// one line [data-waiting].
import { TICK_INSTEAD } from "./scan-answers.js";
import { KIT, PIECE } from "./scan-codes.js";
import { keepWorker } from "./scan-offline.js";
import { actions, button } from "./scan-parts.js";
import { theStore } from "./scan-store.js";

const WHO = "rollroom-person";
const NAME = "rollroom-person-name";
const AGE_MS = 20000;
const MINUTE = 60000;
const ROOM_AFTER_MS = 1500;

// "This kit" is another one on another page: its number is said too.
function intoWords(into, to) {
  return KIT.test(to) && into ? `${into} ${to}` : into || to || "–";
}

export class Device {
  constructor(page, panel) {
    this.page = page;
    this.panel = panel;
    this.words = page.words;
    this.line = page.root.querySelector("[data-waiting]");
    const { person, personName } = this.words;
    if (person) [[WHO, person], [NAME, personName]].forEach((each) => localStorage.setItem(...each));
    this.listsRefused = Boolean(panel);
    keepWorker({ onNewer: () => this.show("newer", true) });
    navigator.storage?.persist?.().catch(() => {});
    if (!panel) return;
    this.note = page.root.querySelector("[data-came-back]");
    this.sayWho(personName || localStorage.getItem(NAME));
    page.root.addEventListener("click", (event) => this.clicked(event.target.closest("button")));
    setInterval(() => this.sayKnown(page.known), AGE_MS);
    this.show("insecure", !window.isSecureContext);
    setTimeout(() => this.isFull(), ROOM_AFTER_MS); // a scan before that tries it out itself
    theStore().then((store) => this.show("forgets", !store.isDurable));
  }

  // In whose name scans are taken, with the server or without.
  sayWho(name) {
    const line = this.part("who");
    if (!line || !name) return;
    line.textContent = this.words.wordsWho.replace("{name}", name);
    line.hidden = false;
  }

  person() {
    return this.words.person || localStorage.getItem(WHO) || "";
  }

  part(name) {
    return this.panel && this.page.root.querySelector(`[data-device-${name}]`);
  }

  show(name, isShown) {
    const part = this.part(name);
    if (!part) return;
    part.hidden = !isShown;
    const code = part.dataset.codeWhenShown; // a hidden problem is none
    if (code && isShown) part.dataset.code = code;
    else if (code) delete part.dataset.code;
  }

  clicked(pressed) {
    if (!pressed) return;
    if (pressed.matches("[data-device-mine]")) this.page.queue.sendAsMine();
    if (pressed.matches("[data-device-again]")) this.page.queue.flush();
    if (pressed.matches("[data-device-newer]")) location.reload();
    if (pressed.matches("[data-device-save]")) this.save(pressed.dataset.deviceSave);
    if (pressed.matches("[data-dismiss]")) this.dismiss(...pressed.dataset.dismiss.split(" "));
  }

  sayWaiting(count, problem) {
    if (!this.line) return;
    const said = {
      offline: this.panel ? this.words.wordsAlone : this.words.wordsOffline,
      "logged-out": this.words.wordsLoggedOut,
      "other-person": this.words.wordsOtherPerson,
    }[problem];
    const number = count ? this.words.wordsWaiting.replace("{count}", count) : this.panel ? this.words.wordsNone : "";
    const trouble = count && problem ? (said ?? problem) : "";
    const text = this.panel ? number : `${number} ${trouble}`.trim();
    if (this.line.textContent !== text) this.line.textContent = text;
    if (this.panel && this.part("trouble").textContent !== trouble) this.part("trouble").textContent = trouble;
    this.show("trouble", Boolean(trouble));
    this.line.toggleAttribute("data-some", count > 0);
    this.panel?.toggleAttribute("data-some", count > 0);
    if (this.panel && !problem) this.sayReached();
    this.show("log-in", problem === "logged-out" && count > 0);
    this.show("mine", problem === "other-person" && count > 0);
    this.show("again", Boolean(problem) && problem !== "other-person" && count > 0);
    this.showRefused();
  }

  // On the page that was opened without the server: it answers again.
  sayReached() {
    const alone = document.querySelector("[data-alone]");
    if (!alone || !this.page.queue?.verified) return;
    alone.textContent = this.words.wordsReached;
    this.part("whole").textContent = this.words.wordsWhole;
  }

  sayKnown(known) {
    const line = this.part("known");
    if (!line || !known) return;
    line.toggleAttribute("data-none", !known.head);
    const count = known.count.toLocaleString("en");
    line.textContent = known.head
      ? this.words.wordsKnows.replace("{count}", count).replace("{age}", this.age(known.asOf))
      : this.words.wordsKnowsNothing;
    this.page.offer(known);
  }

  asOf(known) {
    return known.head ? `(${this.words.wordsAsOf.replace("{age}", this.age(known.asOf))})` : "";
  }

  age(since) {
    const minutes = Math.max(0, Math.floor((Date.now() - since) / MINUTE));
    const [word, number] = minutes < 1 ? ["Now", 0]
      : minutes < 90 ? ["Minutes", minutes]
      : minutes < 48 * 60 ? ["Hours", Math.round(minutes / 60)]
      : ["Days", Math.round(minutes / 60 / 24)];
    return this.words[`wordsAge${word}`].replace("{n}", number);
  }

  // Before a scan is taken: is there room to keep it? The store tries it out.
  async isFull() {
    const full = !(await (await theStore()).hasRoom());
    this.show("full", full);
    return full;
  }

  // What came back, or what the server will not read, with the reason and what to do, until somebody
  // has read it. An undoing of what
  // was itself refused needs no reading: neither happened.
  async showRefused() {
    const list = this.part("refused");
    if (!list) return;
    const store = await theStore();
    const setAside = (await store.waiting()).filter((row) => row.message);
    const rows = [...setAside, ...(await store.withStatus("refused"))];
    const ids = new Set(rows.map((row) => row.id));
    const idle = rows.filter(({ scan }) => scan.corrects && ids.has(scan.corrects));
    if (idle.length) {
      await this.dismiss(...idle.flatMap(({ id, scan }) => [id, scan.corrects]));
      return;
    }
    const shown = [...list.children].map((each) => each.dataset.refused).join();
    if (shown === [...ids].join()) return;
    list.replaceChildren(...rows.map((row) => this.refusedRow(row)));
    this.show("refusals", rows.length > 0);
    this.part("refused-count").textContent = rows.length;
    this.note.hidden = !rows.length;
    this.note.textContent = this.words.wordsCameBack.replace("{count}", rows.length);
  }

  refusedRow({ id, scan, into, code, message, at }) {
    const row = document.createElement("li");
    row.className = "scan-refused";
    row.dataset.refused = id;
    const problem = this.page.problemOf(code, message);
    const what = document.createElement("p");
    what.className = "scan-said";
    const when = new Date(scan.happened_at).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
    what.textContent = this.words.wordsWasScanned.replace("{code}", scan.code).replace("{to}", intoWords(into, scan.to)).replace("{when}", when);
    const read = document.createElement("button");
    read.dataset.dismiss = id;
    read.textContent = this.words.wordsDismiss;
    problem.append(what, actions(read, this.lookAt(scan, code)));
    row.append(problem);
    row.title = at || "";
    return row;
  }

  // A label that nobody knows is ticked on a list; a piece that may not go there is looked at.
  lookAt(scan, code) {
    const { wordsTick, wordsShow, piecesUrl } = this.words;
    if (PIECE.test(scan.code) && !TICK_INSTEAD.has(code)) return button(`${piecesUrl}${scan.code}/`, wordsShow);
    return button(`/scan/?${new URLSearchParams({ to: scan.to || "", find: scan.code })}#tick`, wordsTick);
  }

  async dismiss(...ids) {
    const store = await theStore();
    await store.change(new Map(ids.map((id) => [id, { status: "dismissed" }])));
    await this.page.queue.tell();
  }

  // The last resort: the list of what this device took, as a file to carry to a desk.
  async save(kind) {
    const rows = await (await theStore()).every();
    const { listOf, saveFile } = await import("./scan-export.js");
    saveFile(kind, listOf(kind, rows));
  }
}
