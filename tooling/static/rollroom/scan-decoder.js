// A worker of its own: pictures in, codes out. {reader, wasm} names the two files of the reader, once;
// then each {picture (an ImageBitmap or ImageData), harder} is answered by {found: [{text, corners}]}.
// Where nothing is found, the middle is looked at again as "harder" says: enlarged (dirt between the
// modules parts from them), or enlarged and blurred (grain of poor light goes). Each is as many pixels
// as a whole 1080p picture, so that a slow phone does not stop for it.
/* global ZXingWASM */
const READING = { formats: ["QRCode"], maxNumberOfSymbols: 8, tryHarder: true };
const WAYS = { dirt: { middle: 1 / 3, scale: 3, blur: 0 }, grain: { middle: 1 / 2, scale: 2, blur: 2 } };

let canvas;

function drawn(picture, { left, top, width, height }, scale, blur) {
  const size = [Math.round(width * scale), Math.round(height * scale)];
  canvas ??= new OffscreenCanvas(...size);
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.imageSmoothingQuality = "high";
  context.filter = blur ? `blur(${blur}px)` : "none";
  context.drawImage(picture, left, top, width, height, 0, 0, ...size);
  return context.getImageData(0, 0, ...size);
}

async function load({ reader, wasm }) {
  importScripts(reader);
  await ZXingWASM.prepareZXingModule({ overrides: { locateFile: () => wasm }, fireImmediately: true });
}

function told(found, { left, top }, scale) {
  const there = ({ x, y }) => ({ x: x / scale + left, y: y / scale + top });
  return found.filter((each) => each.isValid).map(({ text, position }) => ({
    text,
    corners: [position.topLeft, position.topRight, position.bottomRight, position.bottomLeft].map(there),
  }));
}

async function read({ picture, harder }) {
  const whole = { left: 0, top: 0, width: picture.width, height: picture.height };
  const isPlain = picture instanceof ImageData; // no canvas here: looked at as it is
  const found = told(await ZXingWASM.readBarcodes(isPlain ? picture : drawn(picture, whole, 1, 0), READING), whole, 1);
  for (const way of isPlain || found.length ? [] : harder) {
    const { middle, scale, blur } = WAYS[way];
    const [width, height] = [picture.width * middle, picture.height * middle];
    const part = { left: (picture.width - width) / 2, top: (picture.height - height) / 2, width, height };
    const again = told(await ZXingWASM.readBarcodes(drawn(picture, part, scale, blur), READING), part, scale);
    if (again.length) return again;
  }
  return found;
}

self.addEventListener("message", async ({ data }) => {
  try {
    if (data.reader) {
      await load(data);
      self.postMessage({ isReady: true });
    } else if (data.picture) self.postMessage({ found: await read(data) });
    data.picture?.close?.();
  } catch (error) {
    self.postMessage({ problem: String(error) });
  }
});
