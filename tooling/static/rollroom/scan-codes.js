// What a code says by its letters alone: a letter, six characters, a check character.
export const CART = /^C[0-9A-Z]{6}[0-9A-Z*]$/;
export const KIT = /^K[0-9A-Z]{6}[0-9A-Z*]$/;
export const BIN = /^B[0-9A-Z]{6}[0-9A-Z*]$/;
export const PIECE = /^[RSDLH][0-9A-Z]{6}[0-9A-Z*]$/;
export const NO_PIECE = /^[BCTKPM][0-9A-Z]{6}[0-9A-Z*]/;
// Labels that are somewhere to put things: place, mill station, kit. A cart is both: it is a
// context when there is none, else it is what is put away. An order for work, from its packing list,
// leads to its page whatever the context is.
export const ALWAYS_A_CONTEXT = /^([PMK][0-9A-Z]{6}[0-9A-Z*]|G-[0-9]{4,})$/i;
const CODE = /^[RSDLHBPCTKM][0-9A-Z]{6}[0-9A-Z*]$/;
const CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";

export function folded(text) {
  const code = text.toUpperCase().replace(/[\s-]/g, "").replace(/O/g, "0").replace(/I/g, "1");
  return CODE.test(code) ? code : text.trim();
}

export function looksLikeCode(text) {
  return CODE.test(text);
}

// Whether the check character fits (ISO/IEC 7064, MOD 37-2): any one wrong character, and any two
// neighbours in each other's place, are found.
export function holds(code) {
  if (!CODE.test(code)) return false;
  let sum = 0;
  for (const character of code.slice(0, -1)) sum = ((sum + CHARACTERS.indexOf(character)) * 2) % 37;
  return (sum + CHARACTERS.indexOf(code.at(-1))) % 37 === 1;
}

// A scanner is a keyboard: where it and the device disagree about the country, other characters
// arrive than the label holds. Each pair says what arrives → what was meant.
const LAYOUTS = [
  ["YZ", "ZY"], // German and others
  ["QAZW,?", "AQWZMM"], // French letters
  ["&É\"'(-È_ÇÀ", "1234567890"], // French digits without shift
  ["&É\"'(§È!ÇÀ", "1234567890"], // Belgian
  ["+ĚŠČŘŽÝÁÍÉ", "1234567890"], // Czech
  ["!@#$%^&*()", "1234567890"], // shift held, American
  ["!\"§$%&/()=", "1234567890"], // shift held, German
  ["!\"£$%^&*()", "1234567890"], // shift held, British
  ["!\"#¤%&/()=", "1234567890"], // shift held, Nordic
];

function typedOn(layout, text) {
  const [arrives, meant] = layout;
  return [...text].map((each) => (arrives.includes(each) ? meant[arrives.indexOf(each)] : each)).join("");
}

// The label that the scanner probably read, where its keyboard's country changed it; else "".
export function otherLayout(text) {
  const typed = text.toUpperCase().replace(/\s/g, "");
  if (typed.length !== 8 || holds(folded(typed))) return "";
  const letters = [typed, typedOn(LAYOUTS[0], typed), typedOn(LAYOUTS[1], typed)];
  for (const each of letters) {
    for (const layout of [["", ""], ...LAYOUTS.slice(2)]) {
      const meant = typedOn(layout, each);
      if (meant !== typed && holds(meant)) return meant;
    }
  }
  return "";
}
