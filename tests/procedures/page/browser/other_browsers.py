"""Firefox and WebKit, driven by their own protocols: no package is needed, only the browsers.

Firefox speaks Marionette (its source, ``testing/marionette/doc/Protocol.md``, from memory): JSON
messages with their length before them, over a socket; its commands are those of WebDriver.
WebKit's driver speaks WebDriver (W3C Recommendation) over HTTP.
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import socket
import subprocess
import urllib.error
import urllib.request
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self

from daq.clock import Clock, SystemClock

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
WEBKIT = shutil.which("WebKitWebDriver")
DISPLAY = shutil.which("Xvfb")
_MINIBROWSERS = ("/usr/lib", "/usr/libexec")
_START_S = 60.0
_ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # WebDriver, 12.1: the key of an element's id


def minibrowser() -> Path | None:
    """Return WebKit's own small browser, which its driver starts; None where there is none."""
    for folder in _MINIBROWSERS:
        found = sorted(Path(folder).glob("*/webkit2gtk-4.*/MiniBrowser"))
        if found:
            return found[-1]
    return None


def missing(name: str) -> str:
    """Return what has to be installed for a browser; empty when all is there."""
    if name == "firefox":
        return "" if FIREFOX else "firefox-esr"
    found = {"webkit2gtk-driver": WEBKIT and minibrowser(), "xvfb": DISPLAY}
    return " ".join(package for package, there in found.items() if not there)


class OtherBrowser(Protocol):
    """What the tests do with a browser; every call waits until it is done."""

    def go(self, url: str) -> None:
        """Open an address."""

    def run(self, script: str) -> Any:
        """Run the body of a function in the page; return what it returns."""

    def click(self, selector: str) -> None:
        """Click where an element is, as a hand would."""

    def write(self, selector: str, text: str) -> None:
        """Type into an element."""

    def size(self, width: int, height: int) -> None:
        """Set the size of the window."""

    def picture(self, path: Path) -> None:
        """Write what is seen to a PNG file."""


def _await_port(path: Path, clock: Clock) -> int:
    for _ in range(int(_START_S / 0.05)):
        if path.exists() and (text := path.read_text()):
            return int(text)
        clock.sleep(0.05)
    raise TimeoutError(f"no port in {path}")


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    process.wait(20)


class Firefox:
    """A Firefox without a window; a context manager.

    Parameters
    ----------
    folder
        For its profile.
    """

    def __init__(self, folder: Path) -> None:
        assert FIREFOX is not None
        settings = 'user_pref("marionette.port", 0);\nuser_pref("media.autoplay.default", 0);\n'
        (folder / "user.js").write_text(settings, encoding="ascii")
        process = subprocess.Popen(
            [FIREFOX, "-headless", "-marionette", "-no-remote", "-profile", str(folder)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HOME": str(folder)},
        )
        with ExitStack() as stack:
            stack.callback(_end, process)
            port = _await_port(folder / "MarionetteActivePort", SystemClock())
            self._line = socket.create_connection(("127.0.0.1", port), timeout=_START_S)
            stack.callback(self._line.close)
            self._asked = 0
            self._receive()
            self._do("WebDriver:NewSession", {"acceptInsecureCerts": True})
            self._open = stack.pop_all()

    def go(self, url: str) -> None:
        self._do("WebDriver:Navigate", {"url": url})

    def run(self, script: str) -> Any:
        asked: dict[str, Any] = {"script": script, "args": [], "sandbox": None}
        return self._do("WebDriver:ExecuteScript", asked)["value"]

    def click(self, selector: str) -> None:
        self._do("WebDriver:ElementClick", {"id": self._find(selector)})

    def write(self, selector: str, text: str) -> None:
        self._do("WebDriver:ElementSendKeys", {"id": self._find(selector), "text": text})

    def size(self, width: int, height: int) -> None:
        self._do("WebDriver:SetWindowRect", {"width": width, "height": height})

    def picture(self, path: Path) -> None:
        png = self._do("WebDriver:TakeScreenshot", {"full": False})["value"]
        path.write_bytes(base64.b64decode(png))

    def _find(self, selector: str) -> str:
        how = {"using": "css selector", "value": selector}
        return str(self._do("WebDriver:FindElement", how)["value"][_ELEMENT])

    def _do(self, command: str, parameters: dict[str, Any]) -> Any:
        self._asked += 1
        message = json.dumps([0, self._asked, command, parameters]).encode()
        self._line.sendall(f"{len(message)}:".encode() + message)
        _, number, error, result = self._receive()
        assert number == self._asked
        assert error is None, error
        return result

    def _receive(self) -> Any:
        head = b""
        while not head.endswith(b":"):
            head += self._some(1)
        body = b""
        while len(body) < int(head[:-1]):
            body += self._some(int(head[:-1]) - len(body))
        return json.loads(body)

    def _some(self, count: int) -> bytes:
        data = self._line.recv(count)
        if not data:
            raise EOFError("Firefox has gone")
        return data

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()


class WebKit:
    """WebKit's small browser on a display in memory; a context manager.

    Parameters
    ----------
    folder
        For what it keeps.
    """

    def __init__(self, folder: Path) -> None:
        browser = minibrowser()
        assert WEBKIT is not None
        assert browser is not None
        with ExitStack() as stack:
            display = self._display(stack)
            with socket.create_server(("127.0.0.1", 0)) as free:
                port = free.getsockname()[1]
            place = {"DISPLAY": display, "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
            plain = {"GDK_BACKEND": "x11", "WEBKIT_DISABLE_COMPOSITING_MODE": "1"}
            driver = subprocess.Popen(
                [WEBKIT, "-p", str(port)],
                env={**os.environ, **place, **plain},
                stderr=subprocess.DEVNULL,
            )
            stack.callback(_end, driver)
            self._address = f"http://127.0.0.1:{port}/session"
            self._await(port, SystemClock())
            options = {"binary": str(browser), "args": ["--automation"]}
            wanted = {"acceptInsecureCerts": True, "webkitgtk:browserOptions": options}
            begun = self._ask("POST", "", {"capabilities": {"alwaysMatch": wanted}})
            self._address += f"/{begun['sessionId']}"
            stack.callback(self._ask, "DELETE", "")
            self._open = stack.pop_all()

    def _display(self, stack: ExitStack) -> str:
        """Start a display in memory; return its name."""
        assert DISPLAY is not None
        told, tells = os.pipe()
        server = subprocess.Popen(
            [DISPLAY, "-displayfd", str(tells), "-screen", "0", "1600x1300x24", "-nolisten", "tcp"],
            pass_fds=(tells,),
            stderr=subprocess.DEVNULL,
        )
        stack.callback(_end, server)
        os.close(tells)
        with os.fdopen(told) as line:
            return ":" + line.readline().strip()

    def go(self, url: str) -> None:
        self._ask("POST", "/url", {"url": url})

    def run(self, script: str) -> Any:
        return self._ask("POST", "/execute/sync", {"script": script, "args": []})

    def click(self, selector: str) -> None:
        self._ask("POST", f"/element/{self._find(selector)}/click", {})

    def write(self, selector: str, text: str) -> None:
        self._ask("POST", f"/element/{self._find(selector)}/value", {"text": text})

    def size(self, width: int, height: int) -> None:
        self._ask("POST", "/window/rect", {"width": width, "height": height})

    def picture(self, path: Path) -> None:
        path.write_bytes(base64.b64decode(self._ask("GET", "/screenshot")))

    def _find(self, selector: str) -> str:
        how = {"using": "css selector", "value": selector}
        return str(self._ask("POST", "/element", how)[_ELEMENT])

    def _ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        kind = {"content-type": "application/json"}
        asked = urllib.request.Request(self._address + path, data, kind, method=method)
        try:
            with urllib.request.urlopen(asked, timeout=_START_S) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode("utf-8", "replace")[:500]) from None

    def _await(self, port: int, clock: Clock) -> None:
        for _ in range(int(_START_S / 0.05)):
            try:
                socket.create_connection(("127.0.0.1", port)).close()
            except OSError:
                clock.sleep(0.05)
            else:
                return
        raise TimeoutError("WebKit's driver does not listen")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()
