// The token that goes with whatever a script posts. The cookie is always the newest: whoever logs in
// again on another tab has another one.
export function csrfToken() {
  const cookie = /(?:^|; )(?:__Host-)?csrftoken=([^;]+)/.exec(document.cookie); // the former on https
  if (cookie) return decodeURIComponent(cookie[1]);
  return document.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";
}
