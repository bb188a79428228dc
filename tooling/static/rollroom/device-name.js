// Fills in the name that this browser gave itself, by which its scans are known.
import { deviceId } from "./uuid.js";

document.querySelectorAll("[data-device-field]").forEach((field) => {
  field.value = deviceId();
});
document.querySelectorAll(`[data-device="${deviceId()}"]`).forEach((row) => {
  row.classList.add("is-this");
});
