// The logs page with a script: files are dropped and go up one by one with their
// progress, choices are kept as they are made, and what is being read is looked
// after. Without it the page's forms do the same.
"use strict";
(() => {
  const give = document.getElementById("give");
  const cards = document.getElementById("cards");
  if (!give || !cards) return;
  const base = cards.dataset.base;
  const token = give.querySelector("[name=token]").value;
  const input = document.getElementById("files");
  const list = document.getElementById("progress-list");
  const said = document.getElementById("progress-said");
  const atOnce = 3;
  let waiting = [];
  let running = 0;

  const part = async (path) => {
    const answer = await fetch(base + path, { headers: { "X-Part": "1" } });
    if (!answer.ok) throw new Error(answer.status);
    const box = document.createElement("template");
    box.innerHTML = await answer.text();
    return box.content.firstElementChild;
  };

  // ---- files go up -------------------------------------------------------------
  const row = (file) => {
    const li = document.createElement("li");
    li.className = "progress-row";
    const name = document.createElement("span");
    name.className = "file";
    name.textContent = file.name;
    const bar = document.createElement("progress");
    bar.max = 100;
    bar.value = 0;
    bar.setAttribute("aria-label", file.name);
    const state = document.createElement("span");
    state.textContent = give.dataset.wait;
    li.append(name, bar, state);
    list.append(li);
    return { li, bar, state };
  };

  const send = (job) => {
    running++;
    const request = new XMLHttpRequest();
    const done = (text, bad) => {
      running--;
      job.row.state.textContent = text;
      job.row.bar.value = bad ? 0 : 100;
      if (bad) {
        job.row.state.className = "bad";
        job.row.bar.remove();
      }
      refresh();
      next();
    };
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) {
        const share = Math.floor((100 * event.loaded) / event.total);
        job.row.bar.value = share;
        job.row.state.textContent = share + " %";
      }
    };
    request.onload = () => {
      let fault = "";
      try {
        const answer = JSON.parse(request.responseText);
        fault = answer.error || (answer.files || []).map((f) => f.error || "").join("");
      } catch {
        fault = request.status >= 400 ? String(request.status) : "";
      }
      done(fault ? give.dataset.failed + ": " + fault : give.dataset.done, fault !== "");
    };
    request.onerror = () => done(give.dataset.failed, true);
    request.open("POST", give.action);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-Yardheat-Token", token);
    const form = new FormData();
    form.append("token", token);
    form.append("files", job.file, job.file.name);
    request.send(form);
  };

  const next = () => {
    while (running < atOnce && waiting.length > 0) send(waiting.shift());
    said.textContent = running + waiting.length > 0 ? "" : list.children.length + " × " + give.dataset.done;
    if (running + waiting.length === 0 && list.querySelector(".bad")) said.textContent = list.querySelector(".bad").textContent;
  };

  const take = (files) => {
    if (files.length === 0) return;
    if (running + waiting.length === 0) list.replaceChildren();
    document.getElementById("progress").hidden = false;
    for (const file of files) waiting.push({ file, row: row(file) });
    input.value = "";
    next();
  };

  give.addEventListener("submit", (event) => {
    event.preventDefault();
    take([...input.files]);
  });
  input.addEventListener("change", () => take([...input.files]));
  for (const kind of ["dragenter", "dragover"]) {
    document.addEventListener(kind, (event) => {
      event.preventDefault();
      give.classList.add("over");
    });
  }
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) give.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    give.classList.remove("over");
    take([...event.dataTransfer.files]);
  });

  // ---- what is being read ------------------------------------------------------
  let timer = 0;
  let busy = false;
  let again = false;
  const refresh = async () => {
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    clearTimeout(timer);
    let reading = 0;
    try {
      const answer = await fetch(base + "/state");
      if (!answer.ok) throw new Error(answer.status);
      const files = (await answer.json()).files;
      const ids = new Set(files.map((f) => f.id));
      let changed = false;
      for (const card of [...cards.children]) {
        if (!ids.has(card.dataset.id)) {
          card.remove();
          changed = true;
        }
      }
      for (const file of files) {
        if (file.state === "reading") reading++;
        const card = document.getElementById("file-" + file.id);
        if (card && card.dataset.state === file.state) continue;
        const held = card && card.contains(document.activeElement);
        if (held && card.dataset.state !== "reading" && document.activeElement.matches("input, select")) continue;
        const fresh = await part("/card/" + file.id);
        if (card) card.replaceWith(fresh);
        else cards.append(fresh);
        if (held) fresh.focus({ preventScroll: true });
        changed = true;
      }
      if (changed) await summary();
    } catch {
      reading = 1; // the page may be back in a moment
    }
    busy = false;
    if (again) {
      again = false;
      refresh();
    } else if (reading > 0) {
      timer = setTimeout(refresh, 700);
    }
  };

  const summary = async () => {
    const old = document.getElementById("logs-summary");
    const zone = document.getElementById("zone");
    const typed = zone && zone.value !== zone.defaultValue ? zone.value : "";
    old.replaceWith(await part("/summary"));
    if (typed && document.getElementById("zone")) document.getElementById("zone").value = typed;
  };

  // ---- choices -----------------------------------------------------------------
  const choose = async (form, button) => {
    const card = form.closest("article");
    const data = new URLSearchParams(new FormData(form));
    if (button && button.name) data.append(button.name, button.value);
    const focus = document.activeElement && document.activeElement.id;
    const answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-Part": "1", "X-Yardheat-Token": token } });
    if (!answer.ok) {
      form.submit();
      return;
    }
    const box = document.createElement("template");
    box.innerHTML = await answer.text();
    const fresh = box.content.querySelector("article");
    const open = [...card.querySelectorAll("details")].map((d) => d.open);
    card.replaceWith(fresh);
    fresh.querySelectorAll("details").forEach((d, i) => (d.open = Boolean(open[i])));
    const back = (focus && document.getElementById(focus)) || fresh;
    back.focus({ preventScroll: true });
    for (const other of cards.querySelectorAll("article")) if (other !== fresh) other.dataset.state = "old";
    await summary();
    refresh();
  };
  cards.addEventListener("change", (event) => {
    const form = event.target.closest("form[data-choose]");
    if (form) choose(form, null);
  });
  cards.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (!event.target.matches("form[data-choose]") || (button && button.name === "drop")) return;
    event.preventDefault();
    choose(event.target, button);
  });

  // ---- files of before ---------------------------------------------------------
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("[data-kept]");
    if (!link) return;
    event.preventDefault();
    const shown = link.parentElement.querySelector("article");
    if (shown) {
      shown.hidden = !shown.hidden;
      return;
    }
    const path = new URL(link.href).search;
    link.parentElement.append(await part("/kept" + path + "&part=1"));
  });

  if (document.querySelector("article[data-state=reading]")) refresh();
})();
