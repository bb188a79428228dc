"""The page's own reader of pictures, asked directly: ``page.evaluate(READ, base64 of a JPEG)``
gives the texts found and the milliseconds it took, in every way it has;
``page.evaluate(LIVE, [base64, n])`` the texts of n looks as a camera's pictures are looked at.

``WAYS`` gives the names of those ways. ``READ_HERE`` runs the same files on the page's own thread,
the one that Chromium slows down when asked: ``page.evaluate(READ_HERE, [base64, ways])``. Both need
a page that may run the reader."""

from __future__ import annotations

_READER = """const address = (name) => `/static/${name}`;
  const { Reader, WAYS } = await import(address("rollroom/scan-reader.js"));
  const made = async () => {
    const reader = new Reader({ script: address("rollroom/scan-decoder.js"),
      reader: address("vendor/zxing-wasm/iife/reader/index.js"),
      wasm: address("vendor/zxing-wasm/reader/zxing_reader.wasm") });
    await reader.load();
    return reader;
  };
  const bytes = Uint8Array.from(atob(picture), (each) => each.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));"""

READ = f"""async (picture) => {{
  {_READER}
  window.reader ??= await made();
  const began = performance.now();
  const found = await window.reader.read(image, WAYS);
  return [found.map((each) => each.text), performance.now() - began];
}}"""

LIVE = f"""async ([picture, times]) => {{
  {_READER}
  const reader = await made();
  const looks = [];
  while (looks.length < times) looks.push((await reader.read(image)).map((each) => each.text));
  reader.stop();
  return looks;
}}"""

WAYS = """() => import("/static/rollroom/scan-reader.js").then(({ WAYS }) => WAYS)"""

READ_HERE = """async ([picture, harder]) => {
  const address = (name) => new URL(`/static/${name}`, location.href).href;
  const answer = (message) => new Promise((resolve) => {
    const listen = ({ data }) => {
      if (!("isReady" in data || data.found || data.problem)) return;
      removeEventListener("message", listen);
      resolve(data);
    };
    addEventListener("message", listen);
    postMessage(message);
  });
  const reader = address("vendor/zxing-wasm/iife/reader/index.js");
  if (!window.importScripts) {
    window.importScripts = () => {};
    for (const src of [reader, address("rollroom/scan-decoder.js")]) {
      const script = Object.assign(document.createElement("script"), { src });
      await new Promise((resolve) => { script.onload = resolve; document.head.append(script); });
    }
    await answer({ reader, wasm: address("vendor/zxing-wasm/reader/zxing_reader.wasm") });
  }
  const bytes = Uint8Array.from(atob(picture), (each) => each.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
  const began = performance.now();
  const { found, problem } = await answer({ picture: image, harder });
  if (problem) throw new Error(problem);
  return [found.map((each) => each.text), performance.now() - began];
}"""
