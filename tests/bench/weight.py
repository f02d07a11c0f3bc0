"""What a lesson weighs, and how soon a telephone can use it, in a real browser.

    python -m tests.bench.weight

The demo, on the server that `serve` starts, read by Chromium as a telephone with a slow line: its
processor four times slower; 1.6 Mbit/s and 150 ms there and back (slow 4G), then 400 kbit/s and
400 ms. Prints the bytes over the wire as the browser counts them, how many hosts were asked, and
after how many milliseconds the first words stood there and the page could be used. Nothing is
asserted here, since a machine's speed is no property of the program.
"""

import shutil
import sys
import tempfile
from pathlib import Path
from statistics import median
from urllib.parse import urlsplit

from playwright.sync_api import Page, sync_playwright

from tests.bench.pages import started
from trainer import lessons

TIMES = 5
SLOW_4G = {"latency": 150, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 750e3 / 8}
SLOWER = {"latency": 400, "downloadThroughput": 400e3 / 8, "uploadThroughput": 400e3 / 8}
PROCESSOR = 4
WORKER, PASSPHRASE = "00121", "seven terns on a wet slipway"
PHONE = {"width": 375, "height": 800}
WHEN = """() => {
  const nav = performance.getEntriesByType("navigation")[0];
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  return [paint ? paint.startTime : NaN, nav.domContentLoadedEventEnd];
}"""


class Wire:
    """What goes over the wire for a page, as the browser's tools tell it."""

    def __init__(self, page: Page) -> None:
        self.tools = page.context.new_cdp_session(page)
        self.tools.send("Network.enable")
        self.tools.on("Network.requestWillBeSent", self._asked)
        self.tools.on("Network.loadingFinished", self._came)
        self.hosts: set[str] = set()
        self.anew()

    def anew(self) -> None:
        """Begin to count."""
        self.bytes, self.files = 0, 0

    def slow(self, line: dict) -> None:
        """Make the line and the processor slow."""
        self.tools.send("Network.emulateNetworkConditions", {"offline": False, **line})
        self.tools.send("Emulation.setCPUThrottlingRate", {"rate": PROCESSOR})

    def _asked(self, event: dict) -> None:
        if not event["request"]["url"].startswith("data:"):
            self.hosts.add(urlsplit(event["request"]["url"]).netloc)

    def _came(self, event: dict) -> None:
        self.bytes += event["encodedDataLength"]
        self.files += 1


def visit(browser, base: str, cookies: list, line: dict) -> dict[str, float]:
    """Return what a first visit to a lesson takes with nothing kept, and the page after it."""
    context = browser.new_context(viewport=PHONE, is_mobile=True, has_touch=True)
    context.add_cookies(cookies)
    page = context.new_page()
    wire = Wire(page)
    wire.slow(line)
    lesson = lessons.load().all[0]
    found = {}
    for name, part in (("first", lesson.sections[0]), ("later", lesson.sections[1])):
        wire.anew()
        page.goto(f"{base}/lessons/{lesson.slug}/{part.id}", wait_until="networkidle")
        paint, usable = page.evaluate(WHEN)
        found |= {f"{name} bytes": wire.bytes, f"{name} files": wire.files,
                  f"{name} paint": paint, f"{name} usable": usable}  # fmt: skip
    found["hosts"] = len(wire.hosts)
    context.close()
    return found


def signed_in(browser, base: str) -> list:
    """Sign a worker of the demo in, and return the cookies."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{base}/sign-in")
    token = page.locator('input[name="csrf_token"]').first.input_value()
    answer = context.request.post(
        f"{base}/sign-in", headers={"Referer": f"{base}/sign-in"},
        form={"csrf_token": token, "number": WORKER, "passphrase": PASSPHRASE,
              "with": "passphrase"},
    )  # fmt: skip
    assert answer.ok and answer.url.endswith("/tag"), answer.url
    cookies = context.cookies()
    context.close()
    return cookies


def main() -> None:
    """Print what a lesson weighs and when it can be used."""
    path = shutil.which("chromium") or sys.exit("no chromium on this machine")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        program, port = started(Path(folder), "--demo")
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        try:
            base = f"http://127.0.0.1:{port}"
            cookies = signed_in(browser, base)
            for name, line in (("slow 4G", SLOW_4G), ("a line four times slower", SLOWER)):
                seen = [visit(browser, base, cookies, line) for _ in range(TIMES)]
                print(f"{name}, processor {PROCESSOR} times slower")
                for what in seen[0]:
                    print(f"  {what:>14}  {median(one[what] for one in seen):10,.0f}")
        finally:
            browser.close()
            program.terminate()
            program.wait(20)


if __name__ == "__main__":
    main()
