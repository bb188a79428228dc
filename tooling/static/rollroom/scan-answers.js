// What a page that scans shows: where things go, what was scanned, what it is, what was wrong with it.
// The marks in the page are data- attributes inside [data-scan]; scan.js says which.
import { BADGE_SCANNED } from "./scan-badge.js";
import { KIT, NO_PIECE, folded, looksLikeCode } from "./scan-codes.js";
import { actions, button, linkTo } from "./scan-parts.js";
import { Signal } from "./scan-signal.js";

const ROWS_KEPT = 10;
export const TICK_INSTEAD = new Set(["unknown_code", "bad_check_character", "ambiguous_mark"]);

function copyButton({ code, name }) {
  const choice = document.createElement("button");
  choice.type = "button";
  choice.dataset.enter = code;
  choice.textContent = name;
  return choice;
}

export class ScanAnswers {
  constructor(root) {
    this.root = root;
    this.words = root.dataset;
    this.context = root.querySelector("[data-context]");
    this.rows = root.querySelector("[data-rows]");
    this.answer = root.querySelector("[data-answer]");
    this.signal = new Signal(document.querySelector("[data-flash]"));
    this.due = root.querySelector("[data-due-on]");
    this.to = "";
  }

  copyOf(name) {
    return this.root.querySelector(`template[data-${name}]`)?.content.cloneNode(true).firstElementChild;
  }

  setTo(code) {
    this.to = code;
    for (const field of this.root.querySelectorAll("[data-to-field]")) field.value = code;
  }

  // Which of the places of that name, or whose kit: what stands around it.
  outerOf({ name, said = "", outer }) {
    if (outer !== undefined) return outer;
    if (said === name) return "";
    return said.endsWith(` / ${name}`) ? said.slice(0, -name.length - 3) : said;
  }

  // What else there is to a place: the day for one away, the way home of a cart, the kit.
  sayMore(place) {
    const part = (name) => this.context.querySelector(`[data-context-${name}]`);
    if (!this.due) return;
    part("due").hidden = this.due.disabled = !place.is_away;
    this.due.value = place.due_on || "";
    part("slip").href = part("slip").dataset.contextSlip + place.code;
    part("kit").hidden = !KIT.test(place.code);
    part("kits").href = `${part("kits").dataset.contextKits}${place.code}/`;
    part("carries").hidden = !place.carries;
    part("walk").href = part("walk").dataset.contextWalk + place.code;
    part("home").hidden = !place.home_code || place.is_home;
    part("home-name").textContent = place.home || "";
    Object.assign(part("home").querySelector("[data-put]").dataset, { put: place.code, putTo: place.home_code || "" });
  }

  tell(what) {
    this.signal.show("taken", what.code, what.said);
    this.answer.replaceChildren(this.card(what));
    if (what.is_piece && !what.as_of) this.answer.append(this.ways({ code: what.code }));
  }

  // What and where it is, and where it belongs with one tap to put it there.
  card(what) {
    const made = this.copyOf("card");
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
    part("place").textContent = what.home || "";
    part("outer").textContent = what.home_outer || "";
    part("why").textContent = what.why || "";
    part("put").hidden = !what.home_code || what.is_home;
    Object.assign(made.querySelector("[data-put]").dataset, { put: what.code, putTo: what.home_code || "" });
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

  // Of a bin that is handed out, or moved while the server is out of reach, it matters how many.
  async askHowMany(code, how) {
    const ask = this.copyOf("how-many");
    if (!ask) return this.send({ ...this.where(), code, how });
    const number = ask.querySelector("[name=quantity]");
    const go = ask.querySelector("[data-how-many-go]");
    if (!this.due || this.due.disabled) go.textContent = go.dataset.wordsThere;
    const where = this.where();
    ask.addEventListener("submit", (event) => {
      event.preventDefault();
      if (looksLikeCode(folded(number.value))) this.read(number.value); // the next label, meanwhile
      else if (/^[1-9][0-9]{0,6}$/.test(number.value.trim())) {
        this.answer.replaceChildren();
        this.toTop();
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
    this.inSight(ask);
    if (!number.value) number.value = what.count ?? "";
    number.select();
  }

  // No dead end: what cannot be read, or names several, is ticked on a list.
  tickLink(text) {
    const query = new URLSearchParams({ to: this.to, find: text });
    return linkTo(`?${query}#tick`, this.words.wordsTick);
  }

  refuse(code, message, text = "", what = {}) {
    const problem = this.problemOf(code, message);
    if (TICK_INSTEAD.has(code) && !this.isCutOff) problem.append(this.tickLink(text));
    if (what.todo_url) problem.append(linkTo(what.todo_url, what.todo));
    this.answer.replaceChildren(problem);
    this.inSight(problem);
    this.signal.show("refused", this.words.wordsRefused, message);
    return problem;
  }

  problemOf(code, message) {
    const problem = this.copyOf("problem");
    problem.dataset.code = code;
    problem.querySelector("p").textContent = message;
    return problem;
  }

  // A batch answers with the sentence alone; the page of the thing, and what to do about a void
  // label, are asked for.
  async refuseScan(scan, result) {
    const problem = this.refuse(result.code, result.message, scan.code);
    if (TICK_INSTEAD.has(result.code) || result.code === BADGE_SCANNED) return;
    const what = await this.whatIs(scan.code);
    if (result.code === "which_copy" && what.copies) problem.append(actions(...what.copies.map(copyButton)));
    else if (what.todo_url) problem.append(linkTo(what.todo_url, what.todo));
    else if (what.url) problem.append(linkTo(what.url, this.words.wordsShow));
    this.inSight(problem);
  }

  inSight(element) {
    if (this.words.cameraOn === undefined) element.scrollIntoView({ block: "nearest" });
  }

  row(id) {
    return this.rows?.querySelector(`[data-id="${id}"]`);
  }

  // What this device took before the page was opened, the newest first: all of it on the page that
  // knows nothing else, else what the server has not heard of. Stands above what the server said.
  showTaken(taken) {
    const below = this.rows.firstElementChild;
    const undone = new Set(taken.map(({ scan }) => scan.corrects).filter(Boolean));
    for (const { scan, into, status, message } of taken) {
      if (scan.corrects || this.row(scan.id)) continue;
      const isWaiting = status === "waiting";
      const said = isWaiting ? this.words.wordsKept.replace("{place}", into) : message;
      const row = this.rowOf(scan, { status: status === "dismissed" ? "refused" : status, message: said });
      if (undone.has(scan.id)) this.markUndone(row, isWaiting);
      this.rows.insertBefore(row, below?.parentNode === this.rows ? below : null);
    }
    if (this.rows.children.length) this.root.querySelector("[data-none]")?.remove();
    this.trimRows();
  }

  trimRows() {
    while (this.rows.children.length > ROWS_KEPT) this.rows.lastElementChild.remove();
  }

  rowOf(scan, result) {
    const row = this.copyOf("row");
    Object.assign(row.dataset, { id: scan.id, code: scan.code, to: scan.to, status: result.status });
    row.querySelector("[data-row-code]").textContent = scan.code;
    row.querySelector("[data-row-said]").textContent = result.message || result.place || "";
    if (!["taken", "waiting"].includes(result.status)) row.querySelector("form").remove();
    return row;
  }

  // A scan's row, new or as it was: kept on this device and waiting, or answered.
  addRow(scan, result) {
    const there = this.row(scan.id);
    if (!this.copyOf("row")) return;
    const row = this.rowOf(scan, result);
    this.root.querySelector("[data-none]")?.remove();
    if (there) {
      if (there.contains(document.activeElement)) this.focus();
      there.replaceWith(row);
      if (there.dataset.status === "undone") this.markUndone(row, true);
    } else this.rows.prepend(row);
    this.trimRows();
  }

  // What the last scan did, with the way back at hand; what the server alone can do while it is there.
  answerTo({ id, code }, message) {
    const done = document.createElement("div");
    Object.assign(done.dataset, { id, code });
    done.className = "scan-done";
    const line = document.createElement("p");
    line.textContent = message || code;
    done.append(line);
    const undo = this.copyOf("row")?.querySelector("[data-undo]");
    if (undo) done.append(undo);
    if (!NO_PIECE.test(code) && !this.isCutOff) done.append(this.ways({ scan: id, code }));
    this.answer.replaceChildren(done);
    return done;
  }

  undone(scan, result) {
    const isBack = result.status !== "refused";
    if (isBack && this.tells(scan.corrects)) this.said(result.message, scan.corrects);
    const row = this.row(scan.corrects);
    if (isBack) this.recent.clear();
    if (!row) return;
    if (isBack) this.markUndone(row);
    else {
      row.dataset.status = row.dataset.before ?? row.dataset.status;
      const undo = row.querySelector("[data-undo]");
      if (undo) undo.disabled = false;
    }
  }

  // Whether the answer that stands is of that scan.
  tells(id) {
    return Boolean(this.answer.querySelector(`.scan-done[data-id="${id}"]`));
  }

  // Undone as far as this device goes: a refusal puts it back.
  markUndone(row, isKept = false) {
    row.dataset.before = row.dataset.status;
    row.dataset.status = "undone";
    if (isKept) row.querySelector("[data-row-said]").textContent += ` ${this.words.wordsKeptUndo}`;
    else row.querySelector("form")?.remove();
  }

  // Of what was undone, whose scan's id it keeps.
  said(message, id) {
    const done = document.createElement("div");
    done.className = "scan-done";
    done.dataset.id = id;
    done.append(Object.assign(document.createElement("p"), { textContent: message }));
    this.answer.replaceChildren(done);
  }
}
