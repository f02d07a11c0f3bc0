// Small helps that only a script can give: seeing the PIN one types, a button that prints.
// What needs them is marked data-needs-script and hidden; without script nothing is missed.
(() => {
  const uncover = () => {
    for (const part of document.querySelectorAll("[data-needs-script]")) part.hidden = false;
  };

  document.addEventListener("change", (event) => {
    const tick = event.target.closest?.("[data-shows]");
    if (tick) document.getElementById(tick.dataset.shows).type = tick.checked ? "text" : "password";
  });

  // A PIN made visible must not be offered by the browser next time as ordinary text.
  document.addEventListener("submit", () => {
    for (const tick of document.querySelectorAll("[data-shows]:checked")) {
      document.getElementById(tick.dataset.shows).type = "password";
      tick.checked = false;
    }
  }, { capture: true });

  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-print]")) window.print();
  });

  // What is unfolded over the page goes away again as people expect: a press beside it, or Escape.
  const unfolded = () => document.querySelector(".bar .more details[open]");
  document.addEventListener("click", (event) => {
    const more = unfolded();
    if (more && !more.contains(event.target)) more.open = false;
  });
  document.addEventListener("keydown", (event) => {
    const more = event.key === "Escape" && unfolded();
    if (!more) return;
    more.open = false;
    more.querySelector("summary").focus();
  });

  document.addEventListener("htmx:after:swap", uncover);
  uncover();
})();
