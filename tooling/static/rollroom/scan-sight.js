// From what the camera reads, frame after frame, to the one label that is meant. A label is taken by
// itself only when its check character fits, it is the only one in view, lies in the middle and has been
// read in several frames at the same spot; otherwise the person taps the one. The same label is not
// taken again until it has been out of view for the guard's time.
//
// A label that some looks miss is still in view: for three looks of a slow phone, so that it need not
// be read twice running, yet never long, and on a quick phone no longer than the hand is underway to
// the next label, which waits for the last one to have gone.
import { holds } from "./scan-codes.js";

const MISSES = 3;
const IN_VIEW_MS = 700;
const IN_VIEW_MOST_MS = 1200;
const LOOKS = 2;
const STILL = 0.12; // of the picture's width, between two looks
const MIDDLE = 0.28; // of the picture's sides, from its centre

export class Sight {
  constructor(guardMs) {
    this.guardMs = guardMs;
    this.tracks = new Map();
    this.taken = new Map();
  }

  // found: [{text, corners: [{x, y} × 4]}] in pixels of a picture of width × height; now in ms.
  // Gives {take: a code or "", labels: [{code, corners}] in view now, isStrange: other codes only}.
  look(found, { width, height }, now) {
    const own = found.filter(({ text }) => holds(text));
    const inView = Math.min(IN_VIEW_MOST_MS, Math.max(IN_VIEW_MS, MISSES * (now - (this.looked ?? now))));
    this.looked = now;
    for (const [code, track] of this.tracks) if (now - track.last > inView) this.tracks.delete(code);
    for (const { text, corners } of own) this.track(text, corners, width, height, now);
    for (const code of this.tracks.keys()) {
      if (this.isGuarded(code, now)) this.taken.set(code, now);
    }
    const labels = own.map(({ text, corners }) => ({ code: text, corners }));
    const isStrange = found.length > 0 && own.length === 0;
    return { take: this.sure(now), labels, isStrange };
  }

  track(code, corners, width, height, now) {
    const x = corners.reduce((sum, corner) => sum + corner.x, 0) / corners.length / width;
    const y = corners.reduce((sum, corner) => sum + corner.y, 0) / corners.length / height;
    const before = this.tracks.get(code);
    const isStill = before && Math.hypot(x - before.x, y - before.y) < STILL;
    this.tracks.set(code, { x, y, last: now, looks: isStill ? before.looks + 1 : 1 });
  }

  isGuarded(code, now) {
    return now - (this.taken.get(code) ?? -Infinity) < this.guardMs;
  }

  sure(now) {
    if (this.tracks.size !== 1) return "";
    const [[code, { x, y, looks, last }]] = this.tracks;
    const isMeant = last === now && looks >= LOOKS && Math.abs(x - 0.5) < MIDDLE && Math.abs(y - 0.5) < MIDDLE;
    if (!isMeant || this.isGuarded(code, now)) return "";
    this.taken.set(code, now);
    return code;
  }

  // Tapped: that one, whatever else is there.
  choose(code, now) {
    this.taken.set(code, now);
    return code;
  }
}
