// On the wall: the arrow keys do what the links to the next and the last page do, and so do the
// page keys of a pointer in the hand, once the page has come to its end. Without script the links are there.
(() => {
  const BOTTOM = 4; // pixels that a browser may be off when a page is scrolled to its end

  function way(key) {
    const atTop = scrollY <= BOTTOM;
    const atEnd = scrollY + innerHeight >= document.documentElement.scrollHeight - BOTTOM;
    if (key === "ArrowRight" || (key === "PageDown" && atEnd)) return "next";
    if (key === "ArrowLeft" || (key === "PageUp" && atTop)) return "prev";
    return "";
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    // In a dialog, a field or a wide table the arrows mean something else.
    if (document.querySelector("dialog[open]") || event.target.closest?.("input, select, textarea, .scroll")) return;
    const link = document.querySelector(`.wall a[rel="${way(event.key)}"]`);
    if (link) {
      event.preventDefault();
      link.click();
    }
  });
})();
