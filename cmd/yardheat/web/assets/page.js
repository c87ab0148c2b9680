// What every page needs beyond plain links and forms.
"use strict";
document.addEventListener("click", (event) => {
  const back = event.target.closest("[data-back]");
  if (back && history.length > 1) {
    event.preventDefault();
    history.back();
  }
});
// The form token, for scripts that send by fetch: {headers: yardheatHeaders()}.
function yardheatHeaders() {
  const meta = document.querySelector('meta[name="yardheat-token"]');
  return { "X-Yardheat-Token": meta ? meta.content : "", Accept: "application/json" };
}
