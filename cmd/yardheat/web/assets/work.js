// Work in progress: asks how it stands, and goes on when it has ended. Without
// script the page asks anew by itself.
"use strict";
(() => {
  const box = document.getElementById("job");
  for (const day of document.querySelectorAll("#from, #to")) {
    day.addEventListener("input", () => { document.getElementById("p-days").checked = true; });
  }
  if (!box) return;
  const put = (id, text) => {
    const e = document.getElementById(id);
    if (e && e.textContent !== text) e.textContent = text;
  };
  let failures = 0;
  const ask = async () => {
    try {
      const answer = await fetch(box.dataset.url, { headers: { Accept: "application/json" }, cache: "no-store" });
      if (!answer.ok) throw new Error(answer.status);
      const s = await answer.json();
      failures = 0;
      put("job-status", s.status);
      put("job-file", s.file);
      put("job-elapsed", s.elapsed);
      document.getElementById("job-share").value = s.share;
      const steps = document.getElementById("job-steps").children;
      s.steps.forEach((step, i) => {
        if (!steps[i]) return;
        steps[i].className = step.state;
        steps[i].querySelector(".soft").textContent = step.text;
      });
      if (s.ended) {
        location.replace(s.next);
        return;
      }
    } catch {
      failures++;
      if (failures > 20) {
        location.reload();
        return;
      }
    }
    setTimeout(ask, 300 + 200 * failures);
  };
  setTimeout(ask, 300);
})();
