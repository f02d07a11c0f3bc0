// Whether what was typed has arrived. Says when it has not, keeps it in the open page, sends it once
// when the program answers again, and lets two presses be one. What is typed and not sent goes to
// the server, for its person alone, before the page is left; nothing is kept in the browser.
(() => {
  const AGAIN = 3000; // milliseconds between two looks whether the program can be reached
  const PAUSE = 1500; // after the last letter
  const HELD = 8000; // so long a press that was let go holds up a second one
  const PATIENCE = 20000; // for an answer to the look
  const aside = ["/sign-out", "/language"];

  const signedIn = () => Boolean(document.body.dataset.idleSeconds);
  const path = (form) => new URL(form.action, location.href).pathname;
  const ours = (form) => form?.matches?.("main form[method=post]:not([data-writing])");
  const say = (name) => document.getElementById("status").replaceChildren(
    ...(name ? [document.getElementById(name).content.cloneNode(true)] : []));

  // --- Sending -------------------------------------------------------------------------------

  const held = new WeakMap(); // forms that are on their way, and until when
  const sure = new WeakSet(); // forms that the program was asked for a moment ago
  let waiting = null; // what is sent as soon as the program can be reached
  let timer = null;

  async function reached() {
    try {
      const small = document.querySelector("link[rel=icon]").href;
      const answer = await fetch(small, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
      return answer.ok;
    } catch {
      return false;
    }
  }

  function wait(form, send) {
    clearTimeout(timer);
    waiting = { form, send };
    timer = setTimeout(look, AGAIN);
  }

  async function look() {
    const { form, send } = waiting ?? {};
    if (!send) return;
    const there = await reached();
    if (waiting?.send !== send) return; // changed in between: the person presses again
    if (!there || !form.isConnected) return void (form.isConnected && wait(form, send));
    waiting = null;
    say();
    send();
  }

  async function submit(form, button) {
    if (await reached()) {
      sure.add(form);
      form.requestSubmit(button?.isConnected ? button : null);
    } else {
      held.delete(form);
      say("say-lost");
      wait(form, () => submit(form, button));
    }
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!ours(form) || aside.includes(path(form))) return;
    if (sure.delete(form)) return void held.set(form, Date.now() + HELD);
    if ((held.get(form) ?? 0) > Date.now()) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    held.set(form, Date.now() + HELD);
    waiting = null;
    if (form.hasAttribute("hx-post")) return; // htmx sends it, and tells of it below
    event.preventDefault();
    held.set(form, Infinity);
    submit(form, event.submitter);
  }, { capture: true });

  window.addEventListener("online", look);
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) for (const form of document.forms) held.delete(form);
  });

  const source = (event) => event.detail?.ctx?.sourceElement;
  const formOf = (element) => element?.closest?.("form");
  // A form is pressed again, a part that saves by itself changes again.
  function resend(element) {
    const form = formOf(element);
    if (!ours(form)) return;
    wait(form, () => element === form ? form.requestSubmit() : element.dispatchEvent(new Event("change")));
  }
  document.addEventListener("htmx:error", (event) => {
    if (!ours(formOf(source(event)))) return;
    say("say-lost");
    resend(source(event));
  });
  document.addEventListener("htmx:finally:request", (event) => {
    const form = formOf(source(event));
    if (!form) return;
    held.delete(form);
    const status = event.detail.ctx.response?.status ?? 0;
    if (status >= 500) resend(source(event));
    else if (status && status < 400) settled(form);
  });

  // --- Keeping -------------------------------------------------------------------------------

  const saved = new WeakMap(); // what each form held when it was shown or last saved
  const kept = new WeakMap(); // and when it was last kept on the server
  const holds = (form) => {
    const fields = [...new FormData(form)].filter(([name, value]) => name !== "csrf_token" && typeof value === "string");
    return new URLSearchParams(fields).toString();
  };
  // A script may change a hidden field; what a person types or chooses is another thing.
  const typed = (form) => {
    const seen = [...form.elements].filter((one) => one.name && one.type !== "hidden" && one.type !== "file");
    return JSON.stringify(seen.map((one) => one.type === "radio" || one.type === "checkbox" ? one.checked : one.value));
  };
  const keepable = (form) => signedIn() && ours(form) && !form.querySelector("[type=password]");
  function settled(form) {
    saved.set(form, typed(form));
    if (waiting?.form === form) waiting = null;
  }
  function note() {
    for (const form of document.forms) {
      if (ours(form) && !saved.has(form)) saved.set(form, typed(form));
    }
  }

  function keep(form) {
    if (!keepable(form) || (held.get(form) ?? 0) > Date.now()) return;
    const now = typed(form);
    if (now === saved.get(form) || now === kept.get(form)) return;
    kept.set(form, now);
    const token = document.querySelector('meta[name="csrf-token"]').content;
    const body = new URLSearchParams({ page: location.pathname + location.search, action: path(form), fields: holds(form) });
    return fetch("/unsent", {
      method: "POST", body, headers: { "X-CSRFToken": token }, credentials: "same-origin", keepalive: true,
    }).catch(() => kept.delete(form));
  }
  const keepAll = () => Promise.all([...document.forms].map(keep));

  let pause = null;
  document.addEventListener("input", (event) => {
    const form = formOf(event.target);
    if (!ours(form)) return;
    if (waiting?.form === form && form !== null && !event.target.closest("[hx-post]:not(form)")) {
      waiting = null;
      say("say-press");
    }
    clearTimeout(pause);
    pause = setTimeout(keepAll, PAUSE);
  });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") keepAll(); });
  window.addEventListener("beforeunload", () => { keepAll(); });
  // Whoever signs this page out by itself waits for it: see idle.js.
  document.addEventListener("room:leaving", (event) => event.detail.first.push(keepAll()));
  document.addEventListener("htmx:after:swap", note);
  note();

  // A page loaded anew may have been quicker than what the one before it sent when it went,
  // by as much as that had to wait for others who write.
  const LOOKS = [0, 300, 1000, 3000]; // milliseconds to wait before each look
  async function lookBack() {
    const kind = performance.getEntriesByType("navigation")[0]?.type;
    if (!signedIn() || kind !== "reload" || document.querySelector(".unsent")) return;
    // Whoever presses or types goes on from here: to load the page anew would break that off.
    let touched = false;
    for (const deed of ["click", "keydown", "submit"]) {
      document.addEventListener(deed, () => { touched = true; }, { capture: true, once: true });
    }
    const page = encodeURIComponent(location.pathname + location.search);
    const untouched = () => !touched && [...document.forms].every((form) => !ours(form) || typed(form) === saved.get(form));
    for (const after of LOOKS) {
      await new Promise((go) => setTimeout(go, after));
      const answer = await fetch(`/unsent?page=${page}`, { credentials: "same-origin" });
      if (answer.redirected || !untouched()) return;
      if (answer.status === 200) return void location.reload();
    }
  }
  lookBack().catch(() => {});
})();
