// What every page needs beyond plain links and forms.
"use strict";
document.addEventListener("click", (event) => {
  const back = event.target.closest("[data-back]");
  if (back && history.length > 1) {
    event.preventDefault();
    history.back();
  }
});
