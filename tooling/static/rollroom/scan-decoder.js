// A worker of its own: pictures in, codes out. {reader, wasm} names the two files of the reader, once;
// then each {picture (an ImageBitmap or ImageData), harder} is answered by {found: [{text, corners}]}.
// Where nothing is found, the middle is looked at again as "harder" says, each time enlarged:
//   turned   so that the lines it is looked along cross specks, scratches and glare elsewhere, and with
//            specks taken away as well: dirt and light in one place of the symbol, and poor light;
//   smooth   blurred over more than the smallest specks: dirt in the corner squares of the symbol;
//   grain    a larger middle, blurred over the grain of poor light.
// Each is as many pixels as a whole 1080p picture, so that a slow phone does not stop for it.
/* global ZXingWASM */
const READING = { formats: ["QRCode"], maxNumberOfSymbols: 8, tryHarder: true };
const WHOLE = { middle: 1, scale: 1, blur: 0, turn: 0, options: {} };
const WAYS = {
  turned: { middle: 1 / 3, scale: 3, blur: 0, turn: Math.PI / 3, options: { tryDenoise: true } },
  smooth: { middle: 1 / 3, scale: 3, blur: 5, turn: 0, options: {} },
  grain: { middle: 1 / 2, scale: 2, blur: 2, turn: 0, options: {} },
};

let canvas;

// The middle as the way has it, and how its pixels lie on the picture's.
function drawn(picture, { middle, scale, blur, turn }) {
  const size = [picture.width, picture.height].map((side) => Math.round(side * middle * scale));
  canvas ??= new OffscreenCanvas(...size);
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.imageSmoothingQuality = "high";
  context.filter = blur ? `blur(${blur}px)` : "none";
  const [cos, sin] = [scale * Math.cos(turn), scale * Math.sin(turn)];
  context.setTransform(cos, sin, -sin, cos, size[0] / 2, size[1] / 2);
  context.drawImage(picture, -picture.width / 2, -picture.height / 2);
  const back = context.getTransform().inverse();
  return { pixels: context.getImageData(0, 0, ...size), there: ({ x, y }) => {
    const point = back.transformPoint({ x, y });
    return { x: point.x + picture.width / 2, y: point.y + picture.height / 2 };
  } };
}

async function load({ reader, wasm }) {
  importScripts(reader);
  await ZXingWASM.prepareZXingModule({ overrides: { locateFile: () => wasm }, fireImmediately: true });
}

async function look(picture, way) {
  // No canvas here: looked at as it is.
  const { pixels, there } = picture instanceof ImageData ? { pixels: picture, there: ({ x, y }) => ({ x, y }) } : drawn(picture, way);
  const found = await ZXingWASM.readBarcodes(pixels, { ...READING, ...way.options });
  return found.filter((each) => each.isValid).map(({ text, position }) => ({
    text,
    corners: [position.topLeft, position.topRight, position.bottomRight, position.bottomLeft].map(there),
  }));
}

async function read({ picture, harder }) {
  const ways = picture instanceof ImageData ? [] : harder.map((way) => WAYS[way]);
  for (const way of [WHOLE, ...ways]) {
    const found = await look(picture, way);
    if (found.length) return found;
  }
  return [];
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
