"use strict";
(function () {
  const token = document.querySelector("meta[name=form-token]").content;

  document.querySelectorAll("[data-bring]").forEach(bring);
  document.querySelectorAll("[data-wait]").forEach(wait);
  document.querySelectorAll("[data-print]").forEach(function (button) {
    button.hidden = false;
    button.addEventListener("click", function () { window.print(); });
  });

  /* Photos: chosen or dropped; sent with what the form says, then on to the check. */
  function bring(form) {
    const tray = form.querySelector("[data-tray]");
    const field = form.querySelector("input[name=photos]");
    const said = form.querySelector("[data-said]");
    let busy = false;
    if (form.dataset.atOnce !== undefined) { form.querySelector("button[type=submit]").hidden = true; }

    async function send() {
      if (busy || !field.files.length) { return; }
      busy = true;
      said.textContent = form.dataset.sending;
      try {
        const answer = await fetch(form.action, {
          method: "POST", body: new FormData(form), headers: { accept: "application/json", "x-form-token": token }
        });
        const told = await answer.json();
        if (told.go) { window.location.assign(told.go); return; }
        said.textContent = told.line || form.dataset.failed;
      } catch (error) {
        said.textContent = form.dataset.failed;
      }
      busy = false;
    }
    form.addEventListener("submit", function (event) { event.preventDefault(); send(); });
    field.addEventListener("change", function () {
      said.textContent = Array.from(field.files).map(function (f) { return f.name; }).join(", ");
      if (form.dataset.atOnce !== undefined) { send(); }
    });
    ["dragenter", "dragover"].forEach(function (name) {
      tray.addEventListener(name, function (event) { event.preventDefault(); tray.classList.add("over"); });
    });
    ["dragleave", "drop"].forEach(function (name) {
      tray.addEventListener(name, function (event) { event.preventDefault(); tray.classList.remove("over"); });
    });
    tray.addEventListener("drop", function (event) {
      if (event.dataTransfer.files.length) { field.files = event.dataTransfer.files; send(); }
    });
  }

  /* A check in the making: look again until there is something new to show. */
  function wait(box) {
    const advised = Number(box.dataset.advised);
    async function look() {
      try {
        const told = await (await fetch(box.dataset.wait)).json();
        if (told.state !== "waiting" || told.advised > advised) { window.location.reload(); return; }
      } catch (error) { /* the desk may be closing: try again */ }
      window.setTimeout(look, 350);
    }
    window.setTimeout(look, 350);
  }
})();
