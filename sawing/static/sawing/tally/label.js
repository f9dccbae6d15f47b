// The ten digits of a label: log serial, end, row, column, check digit (ISO/IEC 7064 MOD 11,10).
// The same as sawing/calc/label_code.py; a test holds them together.

const CELLS = 64;
const HIGHEST_SERIAL = 99_999;

/** The check digit of a string of digits. */
export function checkDigit(digits) {
  let carry = 10;
  for (const digit of digits) carry = (((carry + Number(digit)) % 10 || 10) * 2) % 11;
  return String((11 - carry) % 10);
}

/** {text, serial, end, row, col, cell}, or null for anything that is no label's code. */
export function decode(text) {
  const digits = text.replace(/[\s-]+/g, "");
  if (!/^[0-9]{10}$/.test(digits) || checkDigit(digits.slice(0, 9)) !== digits[9]) return null;
  let rest = Number(digits.slice(0, 9));
  const col = rest % CELLS;
  rest = (rest - col) / CELLS;
  const row = rest % CELLS;
  rest = (rest - row) / CELLS;
  const end = rest % 2;
  const serial = (rest - end) / 2;
  if (serial < 1 || serial > HIGHEST_SERIAL) return null;
  const cell = `${"BT"[end]}-${String(row).padStart(2, "0")}-${String(col).padStart(2, "0")}`;
  return { text: digits, serial, end, row, col, cell };
}

/** Codes in what a wedge scanner typed: one, or several without anything between them. null when any is none. */
export function codesIn(text) {
  const digits = text.replace(/[\s-]+/g, "");
  if (!digits || digits.length % 10 || !/^[0-9]+$/.test(digits)) return null;
  const found = digits.match(/.{10}/g).map(decode);
  return found.every(Boolean) ? found : null;
}
