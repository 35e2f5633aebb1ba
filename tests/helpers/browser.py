"""Drive headless Chromium through its debugging pipe: no extra package, nothing to fetch."""

import base64
import fcntl
import json
import os
import shutil
import tempfile
from collections import deque

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--hide-scrollbars",
    "--remote-debugging-pipe",
]  # fmt: skip

BOX = """(() => {{ const box = document.querySelector({0}).getBoundingClientRect();
return {{x: box.x, y: box.y, width: box.width, height: box.height, scale: 1}} }})()"""


def find_chromium():
    """Return the path of a Chromium, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def _start(folder):
    """Start Chromium; return its process, and the ends of the pipe to write to and read from.

    Chromium reads commands on descriptor 3 and answers on 4.
    """
    pipes = [os.pipe(), os.pipe()]
    # Out of the way of 3 and 4, which the new process gets.
    (to_browser, write), (read, from_browser) = (
        [fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in pipe] for pipe in pipes
    )
    for end in (*pipes[0], *pipes[1]):
        os.close(end)
    actions = [
        (os.POSIX_SPAWN_DUP2, to_browser, 3),
        (os.POSIX_SPAWN_DUP2, from_browser, 4),
        (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
        (os.POSIX_SPAWN_OPEN, 2, os.devnull, os.O_WRONLY, 0),
    ]
    program = find_chromium()
    arguments = [program, *FLAGS, f"--user-data-dir={folder}"]
    process = os.posix_spawn(program, arguments, os.environ, file_actions=actions)
    os.close(to_browser)
    os.close(from_browser)
    return process, write, read


class Browser:
    """A tab of a headless Chromium, with what it logged and asked for."""

    def __init__(self):
        self.folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        self._process, self._write, self._read = _start(self.folder.name)
        self._buffer, self._number, self._waiting = b"", 0, deque()
        self._own = None
        try:
            self.new_person()
        except BaseException:
            self._end()
            raise

    def __enter__(self):
        return self

    def __exit__(self, *error):
        try:
            self._call("Browser.close")
        finally:
            self._end()

    def _end(self):
        # Chromium ends when its pipe does.
        os.close(self._write)
        os.close(self._read)
        os.waitpid(self._process, 0)
        self.folder.cleanup()

    def new_person(self):
        """Take a new tab in place of the old one, and nothing stored."""
        if self._own:
            self._call("Target.disposeBrowserContext", **self._own)
        self.console, self.requests = [], []
        self._own = self._call("Target.createBrowserContext")
        target = self._call("Target.createTarget", url="about:blank", **self._own)["targetId"]
        attached = self._call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method, **parameters):
        """Send a command to the tab and return its result."""
        return self._call(method, session=self._session, **parameters)

    def open(self, path, *, width=1200, height=900):
        """Open a file at a window size and wait until it has loaded."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=width < 600,
        )  # fmt: skip
        self._loaded("Page.navigate", url=path.as_uri())

    def reload(self):
        """Load the page again, as its reader would, and wait."""
        self._loaded("Page.reload")

    def _loaded(self, method, **parameters):
        self._waiting.clear()  # of the page before, whose end is not this one's
        self.call(method, **parameters)
        while self._message().get("method") != "Page.loadEventFired":
            pass
        # Until a page has drawn itself, Chromium passes no key or touch on to it.
        self.evaluate("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")

    def evaluate(self, expression):
        """Return the value of a JavaScript expression, awaited."""
        result = self.call(
            "Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        return result["result"].get("value")

    def screenshot(self, path, part=None):
        """Write the whole page, or the element that a selector finds, as PNG."""
        more = {"clip": self.evaluate(BOX.format(json.dumps(part)))} if part else {}
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=True, **more)
        path.write_bytes(base64.b64decode(shot["data"]))

    def pdf(self, *, width_in, height_in):
        """Return the page printed on paper of this size, as PDF bytes."""
        printed = self.call(
            "Page.printToPDF", paperWidth=width_in, paperHeight=height_in,
            preferCSSPageSize=False, printBackground=True,
        )  # fmt: skip
        return base64.b64decode(printed["data"])

    def _call(self, method, *, session=None, **parameters):
        self._number += 1
        command = {"id": self._number, "method": method, "params": parameters}
        if session:
            command["sessionId"] = session
        os.write(self._write, json.dumps(command).encode() + b"\0")
        number, aside = self._number, []
        while True:
            message = self._message()
            if message.get("id") == number:
                self._waiting.extend(aside)
                assert "error" not in message, (method, message["error"])
                return message["result"]
            aside.append(message)

    def _message(self):
        if self._waiting:
            return self._waiting.popleft()
        while b"\0" not in self._buffer:
            part = os.read(self._read, 1 << 16)
            assert part, "the browser has gone"
            self._buffer += part
        text, self._buffer = self._buffer.split(b"\0", 1)
        message = json.loads(text)
        self._note(message)
        return message

    def _note(self, message):
        method, said = message.get("method"), message.get("params", {})
        if method == "Runtime.consoleAPICalled":
            self.console.append(f"{said['type']}: {said['args']}")
        elif method == "Runtime.exceptionThrown":
            self.console.append(str(said["exceptionDetails"]))
        elif method == "Log.entryAdded":
            self.console.append(f"{said['entry']['level']}: {said['entry']['text']}")
        elif method == "Network.requestWillBeSent":
            self.requests.append(said["request"]["url"])
