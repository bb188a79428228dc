// The reader of pictures: ours in a worker (scan-decoder.js), and beside it the browser's own where it
// has one. The browser's alone is never relied on.
const canSendBitmaps = () => "OffscreenCanvas" in window && "createImageBitmap" in window;

// Ways to look where a picture shows nothing at first (scan-decoder.js).
export const WAYS = ["turned", "smooth", "grain"];

export class Reader {
  constructor({ script, reader, wasm }) {
    this.files = { reader: new URL(reader, location.href).href, wasm: new URL(wasm, location.href).href };
    this.script = script;
    this.misses = 0;
  }

  // Raises where the reader's files are neither on this device nor to be had.
  async load() {
    this.worker = new Worker(this.script);
    const answer = await this.ask(this.files);
    if (!answer.isReady) throw new Error(answer.problem);
    const formats = (await window.BarcodeDetector?.getSupportedFormats?.().catch(() => [])) || [];
    if (formats.includes("qr_code")) this.native = new window.BarcodeDetector({ formats: ["qr_code"] });
  }

  ask(message, transfer = []) {
    return new Promise((resolve, reject) => {
      this.worker.onmessage = ({ data }) => resolve(data);
      this.worker.onerror = (event) => reject(new Error(event.message || "the reader cannot be loaded"));
      this.worker.postMessage(message, transfer);
    });
  }

  // [{text, corners}] of everything in a video's present picture or an image; "harder" names the ways
  // to look again where nothing is found. All at once suit a still picture. Of a camera's pictures each
  // has one of them in turn, so that none takes long: a label that only one way reads is found within as
  // many pictures as there are ways, and the way that read it stays until it misses, so that the looks
  // that Sight wants follow each other.
  async read(source, harder = [WAYS[this.misses % WAYS.length]]) {
    const [ours, others] = await Promise.all([this.ours(source, harder), this.native?.detect(source).catch(() => [])]);
    if (!ours.length) this.misses += 1;
    const texts = new Set(ours.map((each) => each.text));
    const more = (others || []).filter((each) => !texts.has(each.rawValue));
    return [...ours, ...more.map((each) => ({ text: each.rawValue, corners: each.cornerPoints }))];
  }

  async ours(source, harder) {
    const picture = canSendBitmaps() ? await createImageBitmap(source) : this.drawn(source);
    const answer = await this.ask({ picture, harder }, picture instanceof ImageData ? [picture.data.buffer] : [picture]);
    if (answer.problem) throw new Error(answer.problem);
    return answer.found;
  }

  drawn(source) {
    this.canvas ??= document.createElement("canvas");
    this.canvas.width = source.videoWidth || source.width;
    this.canvas.height = source.videoHeight || source.height;
    const context = this.canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(source, 0, 0);
    return context.getImageData(0, 0, this.canvas.width, this.canvas.height);
  }

  stop() {
    this.worker?.terminate();
    this.worker = null;
  }
}
