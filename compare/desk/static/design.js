"use strict";
(function () {
  const form = document.querySelector("[data-design]"), box = document.querySelector("[data-look]");
  if (!form || !box) { return; }
  const token = document.querySelector("meta[name=form-token]").content;
  let timer = 0, asked = 0;

  async function look() {
    const mine = ++asked;
    try {
      const answer = await fetch("/look", { method: "POST", body: new FormData(form), headers: { "x-form-token": token } });
      const text = await answer.text();
      if (mine !== asked || !answer.ok) { return; }
      box.innerHTML = text;
      mark();
      light();
    } catch (error) { /* the desk may be closing; what is typed stays */ }
  }
  /* The slip stands at its field, too. */
  function mark() {
    const slip = box.querySelector("[data-place]");
    form.querySelectorAll("[data-key]").forEach(function (field) {
      const bad = slip !== null && slip.dataset.place === field.dataset.key;
      const holder = field.closest(".field");
      holder.classList.toggle("bad", bad);
      let said = holder.querySelector(".wrong");
      if (!bad) { field.removeAttribute("aria-invalid"); if (said) { said.remove(); } return; }
      field.setAttribute("aria-invalid", "true");
      if (!said) { said = document.createElement("p"); said.className = "wrong"; holder.appendChild(said); }
      said.textContent = slip.textContent.trim();
    });
  }
  /* What is being typed is lit in the drawing. */
  function light() {
    const field = document.activeElement;
    const key = field && field.dataset ? field.dataset.key : "";
    box.querySelectorAll("[data-key]").forEach(function (figure) {
      figure.classList.toggle("lit", Boolean(key) && figure.dataset.key === key);
    });
  }
  form.addEventListener("input", function () { window.clearTimeout(timer); timer = window.setTimeout(look, 200); });
  form.addEventListener("focusin", light);
  form.addEventListener("focusout", light);
})();
