// The camera on the Scan page: what it reads goes where a scanner's codes go. Loaded when it is wanted.
import { Reader } from "./scan-reader.js";
import { Sight } from "./scan-sight.js";

const WHICH = "rollroom-camera";
const KEEP_ON = "rollroom-camera-stays-on";
const PAUSE_MS = 40;
const STRANGE_MS = 1500;
const OFFERED_MS = 2000;
const PROBLEMS = { NotAllowedError: "camera_refused", NotFoundError: "no_camera", OverconstrainedError: "no_camera", NotReadableError: "camera_busy", AbortError: "camera_busy" };

export class Camera {
  constructor(page, panel) {
    this.page = page;
    this.panel = panel;
    this.words = panel.dataset;
    this.video = panel.querySelector("video");
    this.view = panel.querySelector("[data-camera-view]");
    this.labels = panel.querySelector("[data-camera-labels]");
    this.choices = panel.querySelector("[data-camera-choices]");
    this.which = panel.querySelector("[data-camera-which]");
    this.staysOn = panel.querySelector("[data-camera-stays]");
    this.torch = panel.querySelector("[data-camera-torch]");
    this.staysOn.checked = localStorage.getItem(KEEP_ON) !== "no";
    this.sight = new Sight(Number(page.words.guardS) * 1000);
    this.listen();
  }

  listen() {
    this.panel.querySelector("[data-camera-close]").addEventListener("click", () => this.close());
    this.torch.addEventListener("click", () => this.light(this.torch.getAttribute("aria-pressed") !== "true"));
    this.staysOn.addEventListener("change", () => {
      localStorage.setItem(KEEP_ON, this.staysOn.checked ? "yes" : "no");
      this.page.focus();
    });
    this.which.addEventListener("change", () => {
      localStorage.setItem(WHICH, this.which.value);
      this.begin();
      this.page.focus();
    });
    this.choices.addEventListener("click", (event) => {
      const { choose } = event.target.closest("[data-choose]")?.dataset ?? {};
      if (choose) this.take(this.sight.choose(choose, performance.now()));
    });
    document.addEventListener("visibilitychange", () => document.hidden && this.close());
  }

  async open() {
    if (!this.panel.hidden) return this.close();
    this.panel.hidden = false;
    this.page.root.toggleAttribute("data-camera-on", true);
    this.say(this.words.wordsOpening);
    await this.begin();
    if (!this.panel.hidden) this.panel.scrollIntoView({ block: "nearest" });
  }

  close() {
    this.stopPicture();
    this.reader?.stop();
    this.reader = null;
    this.panel.hidden = true;
    this.page.root.toggleAttribute("data-camera-on", false);
    this.page.focus();
  }

  stopPicture() {
    this.turn = null;
    for (const track of this.video.srcObject?.getTracks() ?? []) track.stop();
    this.video.srcObject = null;
    this.labels.replaceChildren();
    this.choices.replaceChildren();
  }

  async begin() {
    this.stopPicture();
    const turn = (this.turn = {});
    try {
      const stream = await this.stream();
      if (this.turn !== turn) return stream.getTracks().forEach((track) => track.stop());
      this.video.srcObject = stream;
      await this.video.play();
      const { videoWidth, videoHeight } = this.video;
      this.view.style.aspectRatio = `${videoWidth} / ${videoHeight}`;
      this.view.style.width = `min(100%, ${(50 * videoWidth) / videoHeight}vh)`; // half the screen at most
      await this.offer(stream);
    } catch (error) {
      return this.fail(PROBLEMS[error.name] || "camera_failed", error);
    }
    try {
      if (!this.reader) {
        const { decoderScript, readerScript, readerWasm } = this.words;
        this.reader = new Reader({ script: decoderScript, reader: readerScript, wasm: readerWasm });
        await this.reader.load();
      }
    } catch (error) {
      return this.fail("no_reader", error);
    }
    if (this.turn !== turn) return undefined;
    this.say(this.words.wordsAim);
    return this.watch(turn);
  }

  // The camera of last time while there is one, else the one that looks away from the person. Only
  // "exact" is sure to give the chosen one where another has more pixels.
  async stream() {
    const video = { width: { ideal: 1920 }, height: { ideal: 1080 }, frameRate: { ideal: 30 } };
    const ask = (which) => navigator.mediaDevices.getUserMedia({ video: { ...video, ...which }, audio: false });
    const chosen = localStorage.getItem(WHICH);
    if (chosen) {
      try {
        return await ask({ deviceId: { exact: chosen } });
      } catch (error) {
        if (error.name !== "OverconstrainedError" && error.name !== "NotFoundError") throw error;
      }
    }
    return ask({ facingMode: { ideal: "environment" } });
  }

  async offer(stream) {
    const [track] = stream.getVideoTracks();
    const cameras = (await navigator.mediaDevices.enumerateDevices()).filter((each) => each.kind === "videoinput");
    const now = track.getSettings().deviceId;
    this.which.replaceChildren(...cameras.map((each, at) => {
      const name = each.label || this.words.wordsCamera.replace("{n}", at + 1);
      return new Option(name, each.deviceId, false, each.deviceId === now);
    }));
    this.which.closest("label").hidden = cameras.length < 2;
    const can = track.getCapabilities?.() ?? {};
    this.torch.hidden = !can.torch;
    this.torch.setAttribute("aria-pressed", "false");
    if (can.focusMode?.includes("continuous")) track.applyConstraints({ advanced: [{ focusMode: "continuous" }] }).catch(() => {});
  }

  async light(isOn) {
    const [track] = this.video.srcObject?.getVideoTracks() ?? [];
    await track?.applyConstraints({ advanced: [{ torch: isOn }] }).catch(() => {});
    this.torch.setAttribute("aria-pressed", String(isOn));
  }

  async watch(turn) {
    while (this.turn === turn) {
      if (this.video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA) {
        try {
          const found = await this.reader.read(this.video);
          if (this.turn !== turn) return;
          this.look(found);
        } catch (error) {
          if (this.turn === turn) this.fail("no_reader", error);
          return;
        }
      }
      await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
    }
  }

  look(found) {
    const size = { width: this.video.videoWidth, height: this.video.videoHeight };
    const now = performance.now();
    const { take, labels, isStrange } = this.sight.look(found, size, now);
    this.draw(labels, size);
    this.offerLabels(labels, now);
    if (take) return this.take(take);
    if (isStrange) this.strangeUntil = now + STRANGE_MS;
    const words = labels.length > 1 ? this.words.wordsTap
      : now < this.strangeUntil ? this.words.wordsStrange
      : labels.length ? this.words.wordsHold
      : this.words.wordsAim;
    return this.say(words);
  }

  take(code) {
    this.say(code);
    this.page.seen(code);
    if (!this.staysOn.checked) this.close();
  }

  // Each label that is read gets a frame, and below the picture a button as large as a glove needs.
  draw(labels, { width, height }) {
    const there = new Map([...this.labels.children].map((each) => [each.textContent, each]));
    for (const { code, corners } of labels) {
      const frame = there.get(code) ?? this.frame(code);
      there.delete(code);
      const xs = corners.map((corner) => corner.x / width);
      const ys = corners.map((corner) => corner.y / height);
      frame.style.left = `${100 * Math.min(...xs)}%`;
      frame.style.top = `${100 * Math.min(...ys)}%`;
      frame.style.width = `${100 * (Math.max(...xs) - Math.min(...xs))}%`;
      frame.style.height = `${100 * (Math.max(...ys) - Math.min(...ys))}%`;
    }
    for (const [, gone] of there) gone.remove();
  }

  frame(code) {
    const frame = document.createElement("div");
    frame.className = "scan-label";
    frame.append(Object.assign(document.createElement("span"), { textContent: code }));
    this.labels.append(frame);
    return frame;
  }

  // A button stays a while when its label is not read in some picture: it must not flee the finger.
  offerLabels(labels, now) {
    const there = new Map([...this.choices.children].map((each) => [each.dataset.choose, each]));
    for (const { code } of labels) {
      const choice = there.get(code) ?? document.createElement("button");
      choice.type = "button";
      Object.assign(choice.dataset, { choose: code, until: now + OFFERED_MS });
      if (there.has(code)) continue;
      choice.textContent = code;
      this.choices.append(choice);
    }
    for (const choice of there.values()) if (Number(choice.dataset.until) < now) choice.remove();
  }

  say(words) {
    const line = this.panel.querySelector("[data-camera-said]");
    if (line.textContent !== words) line.textContent = words;
  }

  fail(code, error) {
    console.info("camera:", error?.name, error?.message);
    this.close();
    const name = code.replace(/_([a-z])/g, (_all, letter) => letter.toUpperCase());
    this.page.refuse(code, this.words[`problem${name[0].toUpperCase()}${name.slice(1)}`]);
  }
}
