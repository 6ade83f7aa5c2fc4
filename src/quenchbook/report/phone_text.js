"use strict";
// Texts in and out: codes of coupons, numbers as people type them, cells of a CSV file.
// Codes and distances are those of plan/labels.py; tests compare them over all codes.

function allCodes(characters, length) {
  const field = characters.length;
  const codes = [];
  for (let number = 0; number < field ** (length - 2); number++) {
    const message = [];
    for (let rest = number, at = 0; at < length - 2; at++, rest = Math.floor(rest / field)) {
      message.unshift(rest % field);
    }
    const word = [];
    for (let point = 1; point <= length; point++) {
      word.push(message.reduce((sum, digit, power) => sum + digit * point ** power, 0) % field);
    }
    word[length - 1] = (2 * word[length - 1]) % field;
    const code = word.map((digit) => characters[digit]).join("");
    if (code !== [...code].reverse().join("")) codes.push(code);
  }
  return codes;
}

function plainCode(text) {
  return text.normalize("NFKC").trim().toUpperCase();
}

function nearestCodes(text, codes) {
  const read = [...plainCode(text)];
  return codes.filter((code) => {
    const own = [...code.toUpperCase()];
    return own.length === read.length && own.filter((c, at) => c !== read[at]).length === 1;
  });
}

function swappedCodes(text, codes) {
  const read = [...plainCode(text)];
  const turned = new Set();
  for (let at = 0; at + 1 < read.length; at++) {
    const other = [...read];
    [other[at], other[at + 1]] = [read[at + 1], read[at]];
    turned.add(other.join(""));
  }
  turned.delete(read.join(""));
  return codes.filter((code) => turned.has(code.toUpperCase()));
}

// What a code that was read means: {code} of the plan, or {near, how} as a proposal, or neither.
function codeRead(text, codes, characters) {
  const read = plainCode(text);
  const code = codes.find((own) => own.toUpperCase() === read);
  if (code) return { code };
  const near = nearestCodes(read, codes);
  if (near.length) return { near, how: "one character differs" };
  const swapped = swappedCodes(read, codes);
  if (swapped.length) return { near: swapped, how: "two characters are swapped" };
  const length = [...read].length;
  const other = characters && [4, 5].includes(length) && allCodes(characters, length).includes(read);
  return { near: [], other };
}

// A number as typed: {value, text} with a decimal point, or {problem}. An empty text is neither.
function numberRead(typed) {
  const text = typed.normalize("NFKC").replace(/[\u2212\u2013]/g, "-").replace(/\s+/g, "");
  if (!text) return {};
  if (/^[1-9]\d{0,2},\d{3}$/.test(text)) {
    const [one, other] = [text.replace(",", ""), text.replace(",", ".")];
    return { problem: `${typed.trim()} can be read in two ways. Write ${one} or ${other}.` };
  }
  if (!/^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(text)) {
    return { problem: `${typed.trim()} is not a number.` };
  }
  const own = text.replace(",", ".").replace(/^\+/, "").replace(/\.$/, "");
  const full = own.replace(/^(-?)\./, "$10.");
  return { value: Number(full), text: full };
}

function isPlausible(value, limits) {
  const { low, high, low_is_in: isIn } = limits;
  if (low !== null && (isIn === false ? value <= low : value < low)) return false;
  return high === null || value <= high;
}

function csvCell(cell) {
  // one line for each row: no control character or line separator inside a cell
  const text = String(cell).replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029\s]+/g, " ").trim();
  return /[",;|]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

function csvText(planHash, columns, rows) {
  const lines = [columns, ...rows].map((row) => row.map(csvCell).join(","));
  return `# plan ${planHash}\n${lines.join("\n")}\n`;
}
