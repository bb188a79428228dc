// The device's list of the scans it took, as a file: what was sent and answered, and what was not.
import { deviceId } from "./uuid.js";

const TYPES = { csv: "text/csv", json: "application/json" };
const COLUMNS = ["sequence", "id", "happened_at", "person", "code", "to", "how", "quantity", "corrects", "status", "answer_code", "answer"];

function flat({ sequence, id, person, scan, status, code, message }) {
  return { ...scan, sequence, id, person, status, answer_code: code, answer: message };
}

// A spreadsheet must not run what somebody typed as a formula.
function cell(value) {
  const text = String(value ?? "");
  const plain = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\n\r]/.test(plain) ? `"${plain.replaceAll('"', '""')}"` : plain;
}

export function listOf(kind, rows) {
  const list = rows.map(flat);
  if (kind === "json") return JSON.stringify({ device: deviceId(), saved_at: new Date().toISOString(), scans: list }, null, 1);
  const lines = [COLUMNS, ...list.map((row) => COLUMNS.map((column) => row[column]))];
  return `\ufeff${lines.map((line) => line.map(cell).join(",")).join("\r\n")}\r\n`;
}

export function saveFile(kind, text) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: TYPES[kind] }));
  link.download = `rollroom-scans-${new Date().toISOString().slice(0, 16).replace(":", "")}.${kind}`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}
