// Feedback for gloves and 85 dB: one big word over the whole screen, a sound, a buzz.
const SHOWN_MS = 1000;

// Notes as [frequency in Hz, start in s, length in s]; refused is low and long, a new context rises.
const SOUNDS = {
  context: [[520, 0, 0.1], [780, 0.11, 0.16]],
  taken: [[1040, 0, 0.09]],
  kept: [[780, 0, 0.09]],
  again: [[660, 0, 0.07], [660, 0.12, 0.07]],
  doubt: [[340, 0, 0.18], [340, 0.24, 0.18]],
  refused: [[170, 0, 0.5]],
};
const BUZZES = { context: [60, 40, 60], taken: [50], kept: [50], again: [30, 60, 30], doubt: [120, 80, 120], refused: [250, 80, 250] };

export class Signal {
  constructor(element) {
    this.element = element;
    this.word = element.querySelector("[data-flash-word]");
    this.said = element.querySelector("[data-flash-said]");
    this.shape = element.querySelector("use");
    element.addEventListener("click", () => this.hide());
  }

  show(kind, word, said) {
    clearTimeout(this.timer);
    this.element.dataset.kind = kind;
    this.word.textContent = word;
    this.said.textContent = said || "";
    this.shape.setAttribute("href", `#state-${this.element.dataset[`shape${kind}`] ?? "here"}`);
    this.element.hidden = false;
    this.timer = setTimeout(() => this.hide(), SHOWN_MS);
    this.sound(kind);
    navigator.vibrate?.(BUZZES[kind]);
  }

  hide() {
    this.element.hidden = true;
  }

  sound(kind) {
    const Context = window.AudioContext;
    if (!Context) return;
    this.audio ??= new Context();
    this.audio.resume();
    for (const [frequency, start, length] of SOUNDS[kind]) this.note(kind, frequency, start, length);
  }

  note(kind, frequency, start, length) {
    const from = this.audio.currentTime + start;
    const oscillator = this.audio.createOscillator();
    const gain = this.audio.createGain();
    oscillator.type = kind === "refused" ? "square" : "sine";
    oscillator.frequency.value = frequency;
    gain.gain.setValueAtTime(0.4, from);
    gain.gain.exponentialRampToValueAtTime(0.001, from + length);
    oscillator.connect(gain).connect(this.audio.destination);
    oscillator.start(from);
    oscillator.stop(from + length);
  }
}
