"""A headless Chromium driven through its DevTools protocol over two pipes.

Only what the tests of the page need: open a file, set size and colour scheme, evaluate, press
keys, take pictures, print; everything the console says is kept.
"""

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PATIENCE_S = 30


def chromium() -> str:
    """The program; skips the test where there is none."""
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if not found:
        pytest.skip("no Chromium on this machine: install it or name it in $CHROMIUM")
    return found


def axe_core() -> str:
    """The source of the accessibility engine axe-core; skips the test where it is absent."""
    places = [os.environ.get("AXE_CORE", ""), "node_modules/axe-core/axe.min.js"]
    for place in filter(None, places):
        path = Path(__file__).resolve().parents[1] / place
        path = path / "axe.min.js" if path.is_dir() else path
        if path.is_file():
            return path.read_text(encoding="utf-8")
    pytest.skip("no axe-core: set $AXE_CORE to axe.min.js, or npm install --no-save axe-core")


class Browser:
    """One Chromium with one tab."""

    def __init__(self, profile: Path) -> None:
        program = chromium()
        to_read, self._write = os.pipe()
        self._read, to_write = os.pipe()
        # The browser reads commands from descriptor 3 and writes answers to descriptor 4.
        shell = f'exec "$@" 3<&{to_read} 4>&{to_write}'
        self._process = subprocess.Popen(
            ["bash", "-c", shell, "bash", program, "--headless=new", "--no-sandbox",
             "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--hide-scrollbars",
             "--disable-background-networking", "--remote-debugging-pipe",
             f"--user-data-dir={profile}", "about:blank"],
            pass_fds=(to_read, to_write), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_read)
        os.close(to_write)
        self._buffer, self._number, self._session, self._clock = b"", 0, "", ""
        self.said: list[str] = []
        self.asked_for: list[str] = []
        (page, *_) = (
            target
            for target in self.call("Target.getTargets")["targetInfos"]
            if target["type"] == "page"
        )
        attached = self.call("Target.attachToTarget", targetId=page["targetId"], flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def close(self) -> None:
        self.call("Browser.close")
        self._process.wait(PATIENCE_S)
        os.close(self._read)
        os.close(self._write)

    def call(self, method: str, **params: Any) -> Any:
        """Send one command and wait for its result."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._write, data) :]
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer["error"])
                return answer["result"]

    def open(self, path: Path, fragment: str = "") -> float:
        """Load a page from a file; return how long that took [s]."""
        self.call("Page.navigate", url="about:blank")
        self.said.clear()
        self.asked_for.clear()
        began = time.perf_counter()
        self.call("Page.navigate", url=f"{path.as_uri()}{'#' if fragment else ''}{fragment}")
        while self.value("document.readyState + location.protocol") != "completefile:":
            assert time.perf_counter() - began < PATIENCE_S, "the page did not load"
            time.sleep(0.01)
        self.value("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        return time.perf_counter() - began

    def value(self, expression: str) -> Any:
        """What an expression comes to in the page."""
        done = self.call(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in done, done["exceptionDetails"]
        return done["result"].get("value")

    def look(
        self, width: int, height: int = 800, *, dark: bool = False, print_: bool = False
    ) -> None:
        """Set the size of the window and the wishes of the reader."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=width < 500,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", media="print" if print_ else "", features=[scheme])

    def key(self, name: str, code: int) -> None:
        for kind in ("rawKeyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, code=name,
                      windowsVirtualKeyCode=code)  # fmt: skip

    def click(self, x: float, y: float) -> None:
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def picture(self, *, whole: bool = True) -> bytes:
        """A PNG of the page."""
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=whole, format="png")
        return base64.b64decode(shot["data"])

    def pdf(self, **options: Any) -> bytes:
        return base64.b64decode(self.call("Page.printToPDF", **options)["data"])

    def set_clock(self, date: str) -> None:
        """From the next page on, make its clock say noon of a date."""
        if self._clock:
            self.call("Page.removeScriptToEvaluateOnNewDocument", identifier=self._clock)
        self._clock = self.call(
            "Page.addScriptToEvaluateOnNewDocument",
            source=f"""{{ const Real = Date; window.Date = class extends Real {{
                constructor(...given) {{ super(...(given.length ? given : ["{date}T12:00"])); }}
            }}; }}""",
        )["identifier"]

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], PATIENCE_S)
            assert ready, "the browser does not answer"
            more = os.read(self._read, 1 << 20)
            assert more, "the browser has gone"
            self._buffer += more
        text, _, self._buffer = self._buffer.partition(b"\0")
        message: dict[str, Any] = json.loads(text)
        params = message.get("params", {})
        if message.get("method") == "Log.entryAdded":
            self.said.append(params["entry"]["text"])
        elif message.get("method") in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown"):
            self.said.append(json.dumps(params))
        elif message.get("method") == "Network.requestWillBeSent":
            self.asked_for.append(params["request"]["url"])
        return message
