// What the labels mean while the server is out of reach: fetched from /scan/known/ now and then, kept
// on the device (scan-store.js) as a few dozen rows, one of which is read to answer. Says how old it is.
import { folded, holds, looksLikeCode } from "./scan-codes.js";
import { theStore } from "./scan-store.js";

const ADDRESS = "/scan/known/";
const EVERY_MS = 10 * 60 * 1000;
const LOOK_MS = 60 * 1000;
const ANSWER_MS = 60000;
// What a place's number says, as tooling/queries/scan_known.py writes it.
const MOVES = 1;
const LEAVES = 2;
const CHOSEN = 4;
const UNUSED = 8;
const ROLLS = 16;
const SMALL = 32;
const BUNDLE = "pieces ";
const WANTS = "kit ";

export class Known {
  constructor({ onNews }) {
    this.onNews = onNews;
    this.asOf = 0;
  }

  async begin() {
    this.loaded = this.load();
    await this.loaded;
    await this.refresh();
    setInterval(() => this.refresh(), LOOK_MS);
    window.addEventListener("online", () => this.refresh());
  }

  // The small part: places, kits, bins. Pieces are looked up when they are asked for.
  async load() {
    const store = await theStore();
    this.head = (await store.knows("head")) || null;
    this.asOf = (await store.knows("as of")) || 0;
    this.onNews(this);
  }

  // Not at every opening of the page: in a large shop it is a megabyte.
  async refresh() {
    const age = Date.now() - this.asOf; // negative where the clock was put back
    if (this.isAsking || (this.head && age >= 0 && age < EVERY_MS)) return;
    this.isAsking = true;
    try {
      // As htmx says it: the page asks by itself, nobody touched the tablet.
      const headers = { Accept: "application/json", "HX-Request": "true" };
      if (this.head) headers["If-None-Match"] = `"${this.head.version}"`;
      const answer = await fetch(ADDRESS, { headers, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(ANSWER_MS) });
      const asOf = Date.now() - 1000 * Number(answer.headers.get("Age") || 0);
      if (answer.status === 304) await this.keep([], asOf, false);
      else if (answer.ok) await this.learn(await answer.json(), asOf);
    } catch {
      // No connection, or no room for it: what is known stays, with its age.
    }
    this.isAsking = false;
  }

  async learn(told, asOf) {
    const { pieces, wants, ...head } = told;
    head.pieces = Object.values(pieces).reduce((sum, bundle) => sum + bundle.split("\n").length, 0);
    const bundles = Object.entries(pieces).map(([begin, lines]) => [BUNDLE + begin, { begin, lines }]);
    const kits = head.kits.map(([number]) => [WANTS + number, wants?.[number] ?? ""]);
    await this.keep([["head", head], ...bundles, ...kits], asOf, true);
    this.head = head;
    this.onNews(this);
  }

  async keep(entries, asOf, anew) {
    const store = await theStore();
    await store.learn([...entries, ["as of", asOf]], { anew });
    this.asOf = asOf;
    this.onNews(this);
  }

  get count() {
    return this.head ? this.head.pieces : 0;
  }

  // Whom or what the page offers to choose from: open kits, then people and carts.
  choices() {
    if (!this.head) return [];
    const places = this.head.places.filter(([, , number]) => number & CHOSEN && !(number & UNUSED));
    return [
      ...this.head.kits.map(([code, name, job]) => ({ code, name, job })),
      ...places.map(([code, name]) => ({ code, name })),
    ];
  }

  // What a text is: {is_place, code, name, …} as the server says it, {several}, {isVoid, newer}, or null.
  // A code may be read before the device has read what it kept: then it is waited for.
  async find(text) {
    await this.loaded?.catch(() => null);
    if (!this.head) return null;
    const code = folded(text);
    if (!looksLikeCode(code)) return this.named(text.trim());
    if (code in this.head.void) return { code, isVoid: true, newer: this.newest(code) };
    const found = this.place(code) || this.thing(code) || (await this.piece(code));
    return found || this.named(text.trim()); // a mark or an old label may look like a code
  }

  // The open kit that is gathered at this place, or whose label it is; else "".
  kitAt(to) {
    return this.head?.kits.find(([number, , , place]) => to === number || to === place)?.[0] ?? "";
  }

  // What the kit chose: [{code, where, isThere}]; null where this device does not know.
  async wants(kit) {
    const lines = await (await theStore()).knows(WANTS + kit);
    if (lines === undefined) return null;
    return lines.split("\n").filter(Boolean).map((line) => {
      const [code, where, isThere] = line.split("\t");
      return { code, where, isThere: isThere === "1" };
    });
  }

  // A label may have been replaced more than once.
  newest(code) {
    let newer = this.head.void[code];
    for (const seen = new Set([code]); newer in this.head.void && !seen.has(newer); ) {
      seen.add(newer);
      newer = this.head.void[newer] || newer;
    }
    return newer;
  }

  // A cart that rolls fits into no shelf, bin or peg.
  isTooSmall(place, cart) {
    const number = (code) => this.head?.places.find((each) => each[0] === code)?.[2] ?? 0;
    return Boolean(number(place) & SMALL && number(cart) & ROLLS);
  }

  place(code) {
    const kit = this.head.kits.find((each) => each[0] === code);
    if (kit) return { is_place: true, code, name: kit[1], job: kit[2] };
    const station = this.head.stations.find((each) => each[0] === code);
    if (station) return { is_place: true, code, name: station[1], said: station[1] };
    const place = this.head.places.find((each) => each[0] === code);
    if (!place || place[2] & UNUSED) return null;
    return { is_place: true, code, name: place[1].split(" / ").at(-1), said: place[1], leaves: Boolean(place[2] & LEAVES), moves: Boolean(place[2] & MOVES) };
  }

  thing(code) {
    const bin = this.head.bins.find((each) => each[0] === code);
    if (bin) return { code, name: this.head.drawings[bin[1]], drawing: this.head.drawings[bin[1]], place: this.head.places[bin[2]][1], count: bin[3] };
    const set = this.head.sets.find((each) => each[0] === code);
    return set ? { code, name: set[1], said: `${set[1]} ${set[2]}` } : null;
  }

  async piece(code) {
    const begin = code.slice(0, this.head.bundled_by);
    const bundle = await (await theStore()).knows(BUNDLE + begin);
    const rest = code.slice(this.head.bundled_by);
    const line = bundle?.lines.split("\n").find((each) => each.startsWith(`${rest}\t`));
    return line ? this.told(begin, line) : null;
  }

  told(begin, line) {
    const [rest, mark, drawing, place] = line.split("\t");
    const code = begin + rest;
    return {
      is_piece: true,
      code,
      name: mark ? `${code} (${mark})` : code,
      drawing: this.head.drawings[drawing],
      place: this.head.places[place][1],
    };
  }

  // A place by its name, else pieces by mark or old number: all of the text is looked through.
  async named(text) {
    const key = text.toUpperCase();
    const places = this.head.places.filter(([, name, number]) => !(number & UNUSED) && name.toUpperCase() === key);
    if (places.length === 1) return this.place(places[0][0]);
    const found = [];
    for (const { begin, lines } of await (await theStore()).everyKnown(BUNDLE, `${BUNDLE}~`)) {
      const text = `${lines.toUpperCase()}\n`;
      if (!text.includes(`\t${key}\t`) && !text.includes(`\t${key}\n`)) continue;
      const marked = lines.split("\n").filter((line) => bears(line, key));
      found.push(...marked.map((line) => this.told(begin, line)));
    }
    if (found.length < 2) return found[0] || null;
    return { several: found };
  }
}

// Its mark or one of its old numbers, which stand at the line's end.
function bears(line, key) {
  const [, mark, , , ...old] = line.toUpperCase().split("\t");
  return mark === key || old.includes(key);
}

// Whether the device alone can be sure that this is no label: then it is not taken.
export function isMisread(code) {
  return looksLikeCode(code) && !holds(code);
}
