// Reads a page aloud, sentence by sentence, with a voice that the browser itself has in the page's
// language: nothing that is read leaves the device. Without such a voice the buttons stay hidden.
// What is read stands in [data-aloud]; the buttons are the macro `aloud` of _shapes.html.
(() => {
  const speech = window.speechSynthesis;
  if (!speech || !window.SpeechSynthesisUtterance) return;

  const BLOCKS = "h1, h2, h3, h4, p, li, dt, dd, th, td, figcaption, legend, label, summary, .sum";
  const SILENT = ".aloud, .ladder, .onward, .sources, .unseen, .do, svg, script, style, button, select, [hidden], [aria-hidden=true], details:not([open]) > :not(summary)";
  // Signs that voices skip or spell, as people say them.
  const SAID = {
    en: [[/mg\/m³/g, " milligrams per cubic meter"], [/µg\/m³/g, " micrograms per cubic meter"], [/L\/min/g, " liters a minute"], [/\bppm\b/g, "parts per million"], [/÷/g, " divided by "], [/×/g, " times "], [/−/g, " minus "], [/≈/g, " is about "], [/=/g, " is "], [/°C/g, " degrees Celsius"], [/°F/g, " degrees Fahrenheit"]],
    es: [[/mg\/m³/g, " miligramos por metro cúbico"], [/µg\/m³/g, " microgramos por metro cúbico"], [/L\/min/g, " litros por minuto"], [/\bppm\b/g, "partes por millón"], [/÷/g, " entre "], [/×/g, " por "], [/−/g, " menos "], [/≈/g, " es más o menos "], [/=/g, " es igual a "], [/°C/g, " grados Celsius"], [/°F/g, " grados Fahrenheit"]],
  };
  // Of several voices, the kind of Spanish or English heard most at work in the United States.
  const NEAREST = { en: ["en-us"], es: ["es-us", "es-mx", "es-419"] };
  const SPEED = "aloud-speed"; // kept for this tab; it says nothing about anybody

  let sentences = [];
  let at = 0;
  let saying = null; // the utterance under way; an end of any other is old news
  let state = "idle"; // idle, reading, paused

  const language = () => document.documentElement.lang;
  const bar = () => document.querySelector(".aloud");
  const part = (act) => document.querySelector(`[data-aloud-act="${act}"]`);

  function voice() {
    const tag = (one) => one.lang.toLowerCase().replace("_", "-");
    const own = speech.getVoices().filter((one) => one.localService && tag(one).split("-")[0] === language());
    const near = NEAREST[language()] ?? [];
    return near.map((wanted) => own.find((one) => tag(one) === wanted)).find(Boolean) ?? own[0];
  }

  // Shows the buttons when there is a voice. Browsers load their voices late.
  function offer() {
    if (!bar()) return;
    bar().hidden = !voice();
    try { part("speed").value = sessionStorage.getItem(SPEED) ?? "1"; } catch { /* not allowed here */ }
  }

  // The sentences of the page, each with the range of the document that it stands in.
  function collect() {
    const found = [];
    for (const root of document.querySelectorAll("[data-aloud]")) {
      const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
      let block = null, pieces = [];
      const close = () => { if (block) found.push(...split(block, pieces)); pieces = []; };
      while (walker.nextNode()) {
        const node = walker.currentNode;
        if (!node.data.trim() || node.parentElement.closest(SILENT)) continue;
        const mine = node.parentElement.closest(BLOCKS) ?? root;
        if (mine !== block) { close(); block = mine; }
        pieces.push(node);
      }
      close();
    }
    return found;
  }

  function split(block, nodes) {
    const text = nodes.map((node) => node.data).join("");
    const made = [];
    for (const [start, sentence] of parted(text)) {
      if (!/[\p{L}\p{N}]/u.test(sentence)) continue;
      const range = document.createRange();
      place(nodes, start, (node, offset) => range.setStart(node, offset));
      place(nodes, start + sentence.trimEnd().length, (node, offset) => range.setEnd(node, offset));
      made.push({ block, range, text: sentence });
    }
    return made;
  }

  function parted(text) {
    if (window.Intl?.Segmenter) {
      const cut = new Intl.Segmenter(language(), { granularity: "sentence" }).segment(text);
      return [...cut].map((one) => [one.index, one.segment]);
    }
    return [...text.matchAll(/[^.!?]+[.!?]*\s*/g)].map((one) => [one.index, one[0]]);
  }

  function place(nodes, offset, set) {
    let rest = offset;
    for (const node of nodes) {
      if (rest <= node.data.length) return set(node, rest);
      rest -= node.data.length;
    }
  }

  function mark(sentence) {
    document.querySelector(".being-read")?.classList.remove("being-read");
    window.CSS?.highlights?.delete("being-read");
    if (!sentence) return;
    if (window.CSS?.highlights && window.Highlight) CSS.highlights.set("being-read", new Highlight(sentence.range));
    else sentence.block.classList.add("being-read");
    const box = sentence.range.getBoundingClientRect();
    if (box.top < 0 || box.bottom > window.innerHeight) sentence.block.scrollIntoView({ block: "center" });
  }

  function show(next) {
    state = next;
    const button = part("go");
    if (!button) return;
    button.textContent = { idle: button.dataset.begin, reading: button.dataset.pause, paused: button.dataset.resume }[next];
    part("stop").hidden = next === "idle";
  }

  function say() {
    const sentence = sentences[at];
    if (!sentence) return finish();
    if (!sentence.block.isConnected) { at += 1; return say(); } // a problem that was replaced
    mark(sentence);
    const words = (SAID[language()] ?? []).reduce((text, [sign, spoken]) => text.replace(sign, spoken), sentence.text);
    saying = new SpeechSynthesisUtterance(words);
    const mine = saying;
    saying.voice = voice();
    saying.lang = saying.voice?.lang ?? language();
    saying.rate = Number(part("speed").value) || 1;
    saying.onend = () => { if (mine === saying && state === "reading") { at += 1; say(); } };
    saying.onerror = () => { if (mine === saying && state === "reading") stop(); };
    speech.speak(saying);
  }

  // Read to the end: the lesson then knows that this section was heard.
  function finish() {
    const heard = document.querySelector("[data-aloud-heard]");
    if (heard) heard.value = "yes";
    stop();
  }

  function quiet() {
    saying = null;
    speech.cancel();
  }

  function stop() {
    quiet();
    mark(null);
    at = 0;
    show("idle");
  }

  function go() {
    if (state === "reading") { quiet(); return show("paused"); }
    if (state === "idle") { sentences = collect(); at = 0; }
    quiet();
    show("reading");
    say(); // a paused sentence begins again
  }

  document.addEventListener("click", (event) => {
    const act = event.target.closest?.("[data-aloud-act]")?.dataset.aloudAct;
    if (act === "go") go();
    if (act === "stop") stop();
  });
  document.addEventListener("change", (event) => {
    if (event.target.dataset?.aloudAct !== "speed") return;
    try { sessionStorage.setItem(SPEED, event.target.value); } catch { /* not allowed here */ }
    if (state === "reading") { quiet(); say(); }
  });
  window.addEventListener("pagehide", stop);
  speech.addEventListener?.("voiceschanged", offer);
  offer();
})();
