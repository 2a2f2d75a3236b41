"""The page of `millprep watch`: a server for this computer alone, that shows each new state."""

from __future__ import annotations

import json
import mimetypes
import secrets
import threading
from collections.abc import Sequence
from functools import partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from millprep.cli.compare import lines_of
from millprep.cli.terminal import line_of
from millprep.model.finding import SEVERITIES, Finding, many
from millprep.report.review import part
from millprep.workflow.set_on_disk import refused_folder
from millprep.workflow.watch import WatchState

WAIT = 20.0
"""Seconds that a page waits for a new state before it comes for the old one again."""
PARTS = {"": "watch.html", "watch.css": "watch.css", "watch.js": "watch.js"}
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; frame-src 'self'"
)


class WatchPage:
    """What the page shows, and the server that it comes from.

    Args:
        name: of the job.
        out: folder of the set.
    """

    def __init__(self, name: str, out: Path) -> None:
        self.name, self.folders = name, {"set": out, "refused": refused_folder(out)}
        self._changed = threading.Condition()
        self._version, self._state = 0, WatchState()
        # who does not know the address sees nothing, other users of this computer included
        self.root = f"/{secrets.token_urlsafe(16)}/"
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        self._server.daemon_threads = True
        # `close`, and so Ctrl-C, waits for one such interval
        serve = partial(self._server.serve_forever, poll_interval=0.05)
        threading.Thread(target=serve, daemon=True).start()

    @property
    def host(self) -> str:
        """Address and port."""
        return f"127.0.0.1:{self._server.server_port}"

    @property
    def address(self) -> str:
        """What a browser opens."""
        return f"http://{self.host}{self.root}"

    def show(self, state: WatchState) -> None:
        """Take a new state."""
        with self._changed:
            self._version, self._state = self._version + 1, state
            self._changed.notify_all()

    def close(self) -> None:
        """End the server."""
        self._server.shutdown()
        self._server.server_close()

    def state_after(self, version: int) -> bytes:
        """The state as JSON, as soon as it is not that of a version."""
        with self._changed:
            self._changed.wait_for(lambda: self._version != version, WAIT)
            return json.dumps({"version": self._version, **_shown(self.name, self._state)}).encode()


def _shown(name: str, state: WatchState) -> dict[str, Any]:
    """A state in words."""
    stops = [finding for finding in state.findings if finding.severity == "stop"]
    if state.step:
        kind, words = "", f"{state.step} …"
    elif state.made:
        kind, words = "", f"The set is as the job makes it, prepared in {state.seconds:.1f} s."
    else:
        to_correct = many(len(stops), "finding")
        kind, words = "stop", f"Refused, {to_correct} to correct. The folder is as it was."
    changes: Sequence[str] = () if state.changes is None else lines_of(state.changes)
    return {
        "run": state.run,
        "title": f"{'…' if state.step else '✓' if state.made else '✗'} {name}",
        "kind": kind,
        "words": f"{name}: {words}",
        "findings": [_row(finding) for finding in _ranked(state) if finding.severity != "note"],
        "notes": [_row(finding) for finding in _ranked(state) if finding.severity == "note"],
        "changes": [["", f"Changed: {line}"] for line in changes],
        "sheet": _sheet(state),
    }


def _sheet(state: WatchState) -> str | None:
    """The page of the set or of the refusal; None while there is no new one."""
    if state.step or not (state.made or state.explained):
        return None
    return "set/sheet.html" if state.made else "refused/review.html"


def _ranked(state: WatchState) -> list[Finding]:
    return sorted(state.findings, key=lambda finding: finding.rank)


def _row(finding: Finding) -> list[str]:
    return [finding.severity, f"{SEVERITIES[finding.severity]}: {line_of(finding)}"]


def _handler(page: WatchPage) -> type[BaseHTTPRequestHandler]:
    """What answers a browser."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            path, _, query = self.path.partition("?")
            name = path.removeprefix(page.root)
            # a page of another site that has its own name lead here gets nothing
            if self.headers.get("Host") != page.host or name == path:
                self.send_error(404)
            elif name == "state":
                version = int(query) if query.lstrip("-").isdecimal() else -1
                self._send(page.state_after(version), "application/json")
            elif name in PARTS:
                kind = mimetypes.guess_type(PARTS[name])[0] or "text/plain"
                self._send(part(PARTS[name]).encode(), kind, POLICY)
            else:
                self._file(name)

        def _file(self, name: str) -> None:
            """A file of the set, or of the refusal."""
            first, _, rest = name.partition("/")
            folder = page.folders.get(first)
            file = None if folder is None else (folder / rest).resolve()
            if folder is None or file is None or not file.is_relative_to(folder.resolve()):
                self.send_error(404)
                return
            try:
                data = file.read_bytes()
            except OSError:
                self.send_error(404)
                return
            self._send(data, mimetypes.guess_type(file.name)[0] or "text/plain")

        def _send(self, data: bytes, kind: str, policy: str | None = None) -> None:
            self.send_response(200)
            self.send_header("Content-Type", f"{kind}; charset=utf-8")
            self.send_header("Content-Length", str(len(data)))
            self.send_header("Cache-Control", "no-store")
            if policy is not None:
                self.send_header("Content-Security-Policy", policy)
            self.end_headers()
            self.wfile.write(data)

        def log_message(self, *_: object) -> None:
            """Nothing is said of what a browser fetches."""

    return Answer
