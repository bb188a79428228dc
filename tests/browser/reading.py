"""The page's own reader of pictures, asked directly: ``page.evaluate(READ, base64 of a JPEG)``
gives the texts found and the milliseconds it took."""

from __future__ import annotations

READ = """async (picture) => {
  const address = (name) => `/static/${name}`;
  const { Reader, WAYS } = await import(address("rollroom/scan-reader.js"));
  if (!window.reader) {
    window.reader = new Reader({ script: address("rollroom/scan-decoder.js"),
      reader: address("vendor/zxing-wasm/iife/reader/index.js"),
      wasm: address("vendor/zxing-wasm/reader/zxing_reader.wasm") });
    await window.reader.load();
  }
  const bytes = Uint8Array.from(atob(picture), (each) => each.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
  const began = performance.now();
  const found = await window.reader.read(image, WAYS);
  return [found.map((each) => each.text), performance.now() - began];
}"""
