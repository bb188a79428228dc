// Enter goes to the next field that is to be filled in one after the other; at the last one it
// does what Enter does in any form.

document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("[data-enter-next]")) return;
  const fields = [...event.target.form.querySelectorAll("[data-enter-next]")];
  const next = fields[fields.indexOf(event.target) + 1];
  if (!next) return;
  event.preventDefault();
  next.focus();
  next.select();
});
