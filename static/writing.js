// The page where a worksite's lesson is written: it saves by itself, tells when it could not, and
// puts in what can be inserted. Nothing is kept in the browser: a text that could not be saved
// stays in the open page, which says so and tries again.
(() => {
  const form = document.querySelector("[data-writing]");
  if (!form) return;
  const state = form.querySelector("[data-writing-state]");
  const text = form.elements.text;
  const AFTER = 2000, AGAIN = 5000; // milliseconds after the last letter, and after a failure
  // What a page sends as it goes may have 64 KiB; a longer text is sent like any other, which the
  // page must stay for.
  const MOST_AS_IT_GOES = 60000;

  const now = () => ["title", "summary", "text"].map((name) => form.elements[name].value).join("\u0000");
  // What the server filled in again was never saved.
  let kept = form.hasAttribute("data-refilled") ? null : now();
  let turn = Number(form.elements.turn.value);
  let busy = false;
  let failed = false;
  let timer = null;

  const wait = (milliseconds) => { clearTimeout(timer); timer = setTimeout(save, milliseconds); };

  function tell(sentence, bad, href) {
    state.textContent = sentence;
    state.classList.toggle("no", bad);
    if (!href) return;
    const link = document.createElement("a");
    link.href = href;
    link.textContent = form.dataset.both;
    state.append(" ", link);
  }

  const body = () => new URLSearchParams(new FormData(form));
  const fits = () => body().toString().length < MOST_AS_IT_GOES;

  async function save(leaving = false) {
    if (busy && !leaving) return wait(AFTER);
    const sent = now();
    if (sent === kept) return;
    busy = true;
    form.elements.turn.value = ++turn;
    if (!leaving) tell(form.dataset.saving, false);
    try {
      const answer = await fetch(form.action, {
        method: "POST", body: body(), credentials: "same-origin",
        headers: { Accept: "application/json" }, keepalive: leaving && fits(),
      });
      if (answer.redirected || answer.status === 400) return lost(await renewed() ? "" : form.dataset.out);
      if (answer.status === 403 || answer.status === 404) return lost(form.dataset.refused);
      if (answer.status === 413) return lost(form.dataset.long);
      const got = await answer.json();
      if (!answer.ok) return lost(got.say);
      // A copy of this page was ahead: what stands here is sent once more, as newer than that.
      if (got.kept === "late") return void (turn = Math.max(turn, got.turn));
      kept = sent;
      failed = false;
      if (got.kept === "draft") form.elements.since.value = got.revision;
      tell(got.say, got.kept === "aside", got.beside);
      return got;
    } catch {
      lost(form.dataset.lost);
    } finally {
      busy = false;
      if (!failed && now() !== kept) wait(AFTER);
    }
  }

  // Not saved: the text stays here, and is sent again. Without a sentence, at once.
  function lost(sentence) {
    failed = true;
    if (sentence) tell(sentence, true);
    wait(sentence ? AGAIN : 0);
  }

  // Someone who signed in again in another window has a new token; this page takes it over.
  async function renewed() {
    const answer = await fetch(location.pathname, { credentials: "same-origin" });
    if (answer.redirected || !answer.ok) return false;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const token = page.querySelector('meta[name="csrf-token"]')?.content;
    if (!token || token === form.elements.csrf_token.value) return false;
    form.elements.csrf_token.value = token;
    return true;
  }

  form.addEventListener("input", () => wait(AFTER));
  // The button saves and goes on. It goes nowhere before the text is saved: a page that is left for
  // the one to sign in on could not be brought back.
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    clearTimeout(timer);
    const got = await save(true);
    if (now() === kept) location.assign(got?.kept === "aside" ? got.beside : form.dataset.then);
  });
  const leave = () => save(true);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") leave(); });
  window.addEventListener("pagehide", leave);
  window.addEventListener("beforeunload", (event) => {
    if (now() !== kept && (failed || !fits())) {
      event.preventDefault();
      save(true);
    }
  });

  // Puts words in where the cursor is, on lines of their own; at the end, where it never was.
  let met = false;
  text.addEventListener("focus", () => { met = true; });
  function insert(words) {
    const at = met ? text.selectionEnd : text.value.length;
    const before = text.value.slice(0, at).replace(/\n*$/, "");
    const after = text.value.slice(at).replace(/^\n*/, "");
    text.value = `${before}${before ? "\n\n" : ""}${words}\n\n${after}`;
    const cursor = before.length + (before ? 2 : 0) + words.length;
    text.focus();
    text.setSelectionRange(cursor, cursor);
    text.dispatchEvent(new Event("input", { bubbles: true }));
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-insert], [data-insert-picked]");
    if (!button) return;
    insert(button.dataset.insert ?? document.getElementById(button.dataset.insertPicked).value);
  });
})();
