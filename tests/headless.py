"""A headless Chromium, driven through a pipe: no port, no other library, nothing left behind."""

from __future__ import annotations

import base64
import json
import os
import re
import select
import shutil
import subprocess
import time

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
)


def luminance(colour):
    """Relative luminance of WCAG 2.2 (W3C 2023)."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


class Chromium:
    """One browser with one tab."""

    def __init__(self, folder):
        program = shutil.which("chromium") or shutil.which("chromium-browser")
        assert program, "chromium is missing: apt-get install chromium"
        to_read, self._to = os.pipe()
        self._from, to_write = os.pipe()
        flags = " ".join(FLAGS)
        self._process = subprocess.Popen(
            [
                "bash",
                "-c",
                f'exec "$1" {flags} --user-data-dir="$2" --remote-debugging-pipe about:blank '
                f"3<&{to_read} 4>&{to_write} 2>/dev/null >/dev/null",
                "bash",
                program,
                str(folder),
            ],
            pass_fds=(to_read, to_write),
        )
        os.close(to_read)
        os.close(to_write)
        self._buffer, self._number, self._session = b"", 0, None
        self.events = []
        target = next(
            one for one in self.call("Target.getTargets")["targetInfos"] if one["type"] == "page"
        )
        found = self.call("Target.attachToTarget", targetId=target["targetId"], flatten=True)
        self._session = found["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log", "DOM", "Accessibility"):
            self.call(f"{domain}.enable")

    def close(self):
        os.close(self._to)
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._from)

    # --- the pipe ------------------------------------------------------------------------------

    def call(self, method, **params):
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + 30.0
        while True:
            answer = self._next(end)
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer["error"])
                return answer["result"]

    def _next(self, end):
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._from], [], [], max(end - time.monotonic(), 0.0))
            assert ready, "the browser does not answer"
            got = os.read(self._from, 1 << 20)
            assert got, "the browser is gone"
            self._buffer += got
        raw, self._buffer = self._buffer.split(b"\0", 1)
        message = json.loads(raw)
        if "method" in message:
            self.events.append(message)
        return message

    # --- what tests do ---------------------------------------------------------------------------

    def open(self, address):
        self.call("Page.navigate", url=address)
        there = "document.readyState === 'complete' && location.href !== 'about:blank'"
        self.until(there, patience=90.0)  # a busy machine is no fault

    def open_plain(self, address):
        """Open a page that may not run its script."""
        self.events.clear()
        self.call("Page.navigate", url=address)
        end = time.monotonic() + 20.0
        while not any(event["method"] == "Page.loadEventFired" for event in self.events):
            self._next(end)

    def source(self):
        """The document as it stands."""
        root = self.call("DOM.getDocument", depth=0)["root"]["nodeId"]
        return self.call("DOM.getOuterHTML", nodeId=root)["outerHTML"]

    def query(self, selector):
        """Whether there is such an element; needs no script."""
        root = self.call("DOM.getDocument", depth=0)["root"]["nodeId"]
        return self.call("DOM.querySelector", nodeId=root, selector=selector)["nodeId"] != 0

    def seen(self, selector):
        return self.ask(f"document.querySelector({json.dumps(selector)}).offsetParent !== null")

    def ask(self, script):
        found = self.call(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def until(self, script, patience=20.0):
        end = time.monotonic() + patience
        while not self.ask(script):
            assert time.monotonic() < end, f"never true: {script}"
            time.sleep(0.1)

    def look(self, *, width=1280, height=900, dark=False, script=True):
        """Window, colour scheme, and whether the page may run its script."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])
        self.call("Emulation.setScriptExecutionDisabled", value=not script)

    def picture(self, path, whole=True):
        found = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        data = base64.b64decode(found["data"])
        path.write_bytes(data)
        return data

    def key(self, name, code, text=""):
        for kind in ("keyDown" if text else "rawKeyDown", "keyUp"):
            self.call(
                "Input.dispatchKeyEvent",
                type=kind,
                key=name,
                code=name,
                windowsVirtualKeyCode=code,
                **({"text": text} if text and kind == "keyDown" else {}),
            )

    def asked_for(self):
        """Every address that the page has asked for."""
        return [
            event["params"]["request"]["url"]
            for event in self.events
            if event["method"] == "Network.requestWillBeSent"
        ]

    def complaints(self):
        """Errors of scripts, and what the content policy has refused."""
        found = []
        for event in self.events:
            if event["method"] == "Runtime.exceptionThrown":
                found.append(event["params"]["exceptionDetails"]["text"])
            if event["method"] == "Log.entryAdded":
                entry = event["params"]["entry"]
                if entry["level"] == "error":
                    found.append(entry["text"])
        return found
