// Links as buttons, for what the scan page says.
export function button(href, words, kind = "") {
  const link = document.createElement("a");
  link.className = `button ${kind}`.trim();
  link.href = href;
  link.textContent = words;
  return link;
}

export function actions(...buttons) {
  const row = document.createElement("div");
  row.className = "actions";
  row.append(...buttons);
  return row;
}

export function linkTo(href, words) {
  return actions(button(href, words));
}
