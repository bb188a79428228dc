// The hand-out page: what is scanned goes onto the list one after another, whatever the network
// takes; the list itself is the server's. Without this script the buttons do the same by pages.
import { Signal } from "./scan-signal.js";

class HandOut {
  constructor(form) {
    this.form = form;
    this.field = document.getElementById("scan-field");
    this.signal = new Signal(document.querySelector("[data-flash]"));
    this.waiting = [];
    this.isAsking = false;
    form.addEventListener("submit", (event) => this.submitted(event));
    document.addEventListener("keydown", (event) => {
      if (event.target === document.body && event.key.length === 1 && !event.ctrlKey) this.field.focus();
    });
    this.field.addEventListener("pointerdown", () => (this.field.inputMode = "text"));
  }

  submitted(event) {
    const button = event.submitter;
    const isAdding = !button || button.matches("[data-add], [name=drop]");
    if (!isAdding) return;
    event.preventDefault();
    if (button?.name === "drop") this.waiting.push({ drop: button.value });
    else if (this.field.value.trim()) this.waiting.push({ code: this.field.value.trim() });
    this.field.value = "";
    this.field.inputMode = "none";
    this.field.focus({ preventScroll: true });
    this.ask();
  }

  async ask() {
    if (this.isAsking || !this.waiting.length) return;
    this.isAsking = true;
    const asked = this.waiting.shift();
    const body = new FormData(this.form);
    body.delete("code");
    for (const [name, value] of Object.entries(asked)) body.set(name, value);
    try {
      const response = await fetch(this.form.dataset.addUrl, { method: "POST", body, headers: { "X-Part": "list" } });
      if (!response.ok || response.redirected) throw new Error("no list");
      this.show(await response.text(), asked);
    } catch {
      this.signal.show("refused", this.form.dataset.wordsRefused, this.form.dataset.wordsOffline);
    }
    this.isAsking = false;
    this.ask();
  }

  show(html, asked) {
    const list = document.getElementById("going");
    const fresh = document.createElement("template");
    fresh.innerHTML = html;
    list.replaceWith(fresh.content.querySelector("#going"));
    const problem = document.querySelector("#going > .problem p");
    if (problem) this.signal.show("refused", this.form.dataset.wordsRefused, problem.textContent);
    else if (asked.code) this.signal.show("taken", this.form.dataset.wordsOn, asked.code);
  }
}

const form = document.querySelector("[data-hand-out]");
if (form) new HandOut(form);
