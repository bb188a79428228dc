// What a code says by its letters alone: a letter, six characters, a check character.
export const CART = /^C[0-9A-Z]{6}[0-9A-Z*]$/;
export const KIT = /^K[0-9A-Z]{6}[0-9A-Z*]$/;
export const BIN = /^B[0-9A-Z]{6}[0-9A-Z*]$/;
export const NO_PIECE = /^[BCTKPM][0-9A-Z]{6}[0-9A-Z*]/;
// Labels that are somewhere to put things: place, mill station, kit. A cart is both: it is a
// context when there is none, else it is what is put away.
export const ALWAYS_A_CONTEXT = /^[PMK][0-9A-Z]{6}[0-9A-Z*]$/;
const CODE = /^[RSDLHBPCTKM][0-9A-Z]{6}[0-9A-Z*]$/;

export function folded(text) {
  const code = text.toUpperCase().replace(/[\s-]/g, "").replace(/O/g, "0").replace(/I/g, "1");
  return CODE.test(code) ? code : text.trim();
}
