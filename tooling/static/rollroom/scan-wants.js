// What a kit calls for, while the server is out of reach: as of when the device last heard of it. The
// kit may have changed since, so what it did not choose is kept like all else, and said: the server has
// the last word.
import { KIT, PIECE } from "./scan-codes.js";

export class Wants {
  // page gives {words, known, asOf()}.
  constructor(page) {
    this.page = page;
  }

  // Of a scan just kept: {said, isDoubtful}, or null where it went into no kit.
  async of({ to, code }) {
    const { known, words } = this.page;
    const kit = known.kitAt(to) || (KIT.test(to) ? to : "");
    if (!kit) return null;
    const wants = await known.wants(kit);
    const piece = PIECE.test(code) ? code : (await known.find(code))?.code ?? code;
    if (!wants || !PIECE.test(piece)) return this.say(words.wordsKitUnknown, kit, "", false);
    const mine = wants.find((each) => each.code === piece);
    if (mine) return this.say(words.wordsKitWants, kit, mine.where, false);
    return this.say(words.wordsKitWantsNot, kit, "", true);
  }

  say(words, kit, where, isDoubtful) {
    const said = words.replace("{kit}", kit).replace("{where}", where).replace("{age}", this.page.asOf());
    return { said, isDoubtful };
  }
}
