// What is this code? The server knows best; while it cannot be reached, the device says what it knows
// and how old that is. Each answer is {is_place, code, name, said, …}, or {problem: {code, message}}.
import { otherLayout, looksLikeCode } from "./scan-codes.js";
import { isMisread } from "./scan-known.js";

const ASK_MS = 8000;
const ASK_WHERE_KNOWN_MS = 2500;

export class Asking {
  // page gives {words, known, isCutOff}.
  constructor(page) {
    this.page = page;
  }

  async about(code) {
    if (!this.page.isCutOff) {
      const told = await this.server(code, this.page.known?.head ? ASK_WHERE_KNOWN_MS : ASK_MS);
      if (told) return told;
      this.page.wasCutOff();
    }
    const own = await this.page.known?.find(code);
    return this.device(code, own) || (await this.server(code)) || { problem: this.nothing() };
  }

  nothing() {
    return { code: "no_connection", message: this.page.words.wordsUnread };
  }

  // null: no answer, or none of the server's own.
  async server(code, within = ASK_MS) {
    try {
      const url = `${this.page.words.readUrl}?code=${encodeURIComponent(code)}`;
      const response = await fetch(url, { headers: { Accept: "application/json" }, redirect: "manual", signal: AbortSignal.timeout(within) });
      if (response.type === "opaqueredirect" || response.status >= 500) return null;
      const told = await response.json();
      return response.ok ? told : { problem: told };
    } catch {
      return null;
    }
  }

  // What the device knows; null where it knows nothing of it.
  device(code, own) {
    const problem = this.certainProblem(code, own);
    if (problem) return { problem };
    const { words } = this.page;
    if (!own) return null;
    if (own.leaves) return { problem: { code: "needs_the_server", message: words.wordsLeaves } };
    if (own.job) return { ...own, said: words.wordsKitJob.replace("{job}", own.job), as_of: true };
    if (own.is_place) return { ...own, as_of: true };
    const said = own.said || words.wordsKnownPiece.replace("{drawing}", own.drawing).replace("{place}", own.place);
    return { ...own, said: `${said} ${this.page.asOf()}`.trim(), as_of: true };
  }

  // What the device by itself is sure to be no good; "own" is what it knows of the text.
  certainProblem(code, own) {
    const { words } = this.page;
    const say = (name, sentence) => ({ code: name, message: sentence });
    if (isMisread(code) && !own) return say("bad_check_character", words.wordsMisread.replace("{code}", code));
    if (own?.isVoid) {
      const sentence = own.newer ? words.wordsVoidNewer.replace("{newer}", own.newer) : words.wordsVoid;
      return say("void_label", sentence.replace("{code}", code));
    }
    if (own?.several) {
      const codes = own.several.slice(0, 6).map((each) => `${each.code} (${each.place})`).join("; ");
      return say("ambiguous_mark", words.wordsSeveral.replace("{text}", code).replace("{codes}", codes));
    }
    if (!own && !looksLikeCode(code) && this.page.known?.head) {
      return say("unknown_code", words.wordsUnknown.replace("{text}", code));
    }
    return null;
  }

  // A wedge whose country differs from the device's: noticed, told, never guessed.
  layoutProblem(text) {
    const meant = otherLayout(text);
    if (!meant) return null;
    const message = this.page.words.wordsLayout.replace("{typed}", text.trim()).replace("{meant}", meant);
    return { code: "keyboard_layout", message };
  }
}
