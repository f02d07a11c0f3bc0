// Signs a person out of a device that nobody is using, after asking whether they are still there.
// <body data-idle-seconds data-warning-seconds> says when; without these attributes nobody is signed in.
// The server keeps its own time. This script keeps it told that someone is reading, and shows the end coming.
(() => {
  const now = () => Date.now();
  const seconds = (name) => Number(document.body.dataset[name]) || 0;
  const signedIn = () => seconds("idleSeconds") > 0;
  const dialog = () => document.getElementById("idle");
  const others = "BroadcastChannel" in window ? new BroadcastChannel("donning-room") : null;
  let lastUse = now(); // when somebody last did anything, in any tab
  let lastTold = now(); // when the server last heard of it
  let over = false;

  const left = () => lastUse / 1000 + seconds("idleSeconds") - now() / 1000;

  function send(address) {
    const token = document.querySelector('meta[name="csrf-token"]')?.content ?? "";
    return fetch(address, { method: "POST", headers: { "X-CSRFToken": token }, credentials: "same-origin", keepalive: true });
  }

  // Time is over: end the session on the server too, so that the Back button shows nothing.
  async function leave(ask = true) {
    if (over) return;
    over = true;
    others?.postMessage("over");
    // What was typed is kept on the server first, for the person alone: see sending.js.
    const first = [];
    document.dispatchEvent(new CustomEvent("room:leaving", { detail: { first } }));
    const leaving = async () => {
      await Promise.allSettled(first);
      if (ask) await send("/sign-out").catch(() => {});
    };
    await Promise.race([leaving(), new Promise((done) => setTimeout(done, 3000))]);
    location.replace("/signed-out");
  }

  async function tell() {
    lastTold = now();
    try {
      const answer = await send("/still-here");
      if (answer.redirected || answer.status === 401 || answer.status === 403) await leave(false);
      return answer.ok;
    } catch {
      lastTold = 0; // No answer: try again with the next touch.
      return false;
    }
  }

  function used(fromHere = true) {
    if (over || !signedIn() || dialog()?.open) return;
    lastUse = now();
    if (fromHere) others?.postMessage("used");
    // Reading and scrolling reach no server, so it is told now and then.
    if (fromHere && now() - lastTold > seconds("idleSeconds") * 250) tell();
  }

  // A request is use, and has told the server already.
  function asked() {
    lastUse = lastTold = now();
    others?.postMessage("used");
    if (dialog()?.open) dialog().close();
  }

  async function stay() {
    const box = dialog();
    const trouble = box.querySelector("[data-trouble]");
    trouble.hidden = true;
    if (await tell()) {
      lastUse = now();
      others?.postMessage("used");
      box.close();
    } else {
      trouble.hidden = false;
    }
  }

  function watch() {
    if (over || !signedIn()) return;
    const remaining = left();
    if (remaining <= 0) return void leave();
    const box = dialog();
    if (!box || remaining > seconds("warningSeconds")) return;
    if (!box.open) box.showModal();
    box.querySelector("[data-left]").textContent = Math.ceil(remaining);
  }

  for (const kind of ["pointerdown", "keydown", "wheel", "touchmove", "input"]) {
    document.addEventListener(kind, () => used(), { passive: true, capture: true });
  }
  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-stay]")) stay();
  });
  // Escape would close the dialog without an answer; it means "I am here".
  document.addEventListener("cancel", (event) => {
    if (event.target === dialog()) { event.preventDefault(); stay(); }
  }, { capture: true });
  document.addEventListener("htmx:after:request", asked);
  document.addEventListener("htmx:before:history:restore", asked);
  document.addEventListener("visibilitychange", watch); // a tablet that slept has missed its timers
  window.addEventListener("pageshow", (event) => {
    // A page kept by the browser may show someone who has since signed out: fetch it anew.
    if (event.persisted && signedIn()) location.reload();
  });
  others?.addEventListener("message", (event) => {
    if (event.data === "used") { lastUse = lastTold = now(); if (dialog()?.open) dialog().close(); }
    if (event.data === "over" && signedIn()) location.replace("/signed-out");
  });
  setInterval(watch, 1000);
})();
