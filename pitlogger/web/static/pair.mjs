// @ts-check
/** Fills in the code from the link; a phone that is paired already goes on to the pit. */

const code = location.hash.slice(1);
const field = document.getElementById("code");
if (code && field instanceof HTMLInputElement) {
  field.value = code;
  history.replaceState(null, "", location.pathname);
}
// A link from another program brings no cookie along at first; asked from here it does.
fetch("/api/v1/me")
  .then((answer) => (answer.ok && !code ? answer.json() : null))
  .then((me) => { if (me?.role) location.replace("/"); })
  .catch(() => {});
