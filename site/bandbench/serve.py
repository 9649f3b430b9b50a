"""Serve the built site on this machine, the way a good static host would: types, gzip, caching, policies."""

from __future__ import annotations

import argparse
import errno
import sys
import webbrowser
from functools import partial
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path, PurePosixPath
from urllib.parse import unquote, urlsplit

from bandbench.build import DEFAULT_OUTPUT, build_site, built_endpoint, is_current
from bandbench.policy import PAGE_POLICY, policy_of
from sim.errors import BandbenchError

__all__ = ["ServeError", "add_arguments", "make_server", "run"]

LOOPBACK = "127.0.0.1"
DEFAULT_PORT = 8525

MEDIA_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mjs": "text/javascript; charset=utf-8",
    ".pack": "application/octet-stream",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
    ".whl": "application/zip",
    ".zip": "application/zip",
}

WORKER_POLICY = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval' 'unsafe-eval'; connect-src 'self'"
"""A worker has a policy of its own: Pyodide compiles WebAssembly there, and Panel's Python side evaluates a line of
JavaScript when imported."""

MAKER_POLICY = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; connect-src 'self'"
"""The picture worker runs Pyodide with NumPy and nothing of Panel's."""

KEEPER_POLICY = "default-src 'none'; script-src 'self'; connect-src 'self'"
"""The service worker fetches the site's own files, and does nothing else."""

_POLICIES = {
    "worker.mjs": WORKER_POLICY,
    "worker.js": WORKER_POLICY,
    "maker.mjs": MAKER_POLICY,
    "service-worker.js": KEEPER_POLICY,
}

FOREVER = "public, max-age=31536000, immutable"
CHUNK_BYTES = 1 << 18


class ServeError(BandbenchError):
    """The site cannot be served."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of ``bandbench serve``."""
    parser.add_argument("--no-open", action="store_true", help="do not open a browser")
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help=f"0 takes a free one ({DEFAULT_PORT})")


def run(arguments: argparse.Namespace) -> int:
    """Serve until interrupted, building first if the project's files have changed."""
    if not is_current(DEFAULT_OUTPUT):
        print("Building the site ...", flush=True)
        build_site(DEFAULT_OUTPUT, xapi_endpoint=built_endpoint(DEFAULT_OUTPUT))
    server = make_server(DEFAULT_OUTPUT, arguments.port)
    address = f"http://{LOOPBACK}:{server.server_address[1]}/"
    print(f"bandbench is served at {address} (Ctrl-C ends it)", flush=True)
    if not arguments.no_open:
        webbrowser.open(address)
    with server:
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            print("\nNo longer served.", file=sys.stderr)
    return 0


def make_server(folder: Path, port: int = 0) -> ThreadingHTTPServer:
    """Return a server of a built site on the loopback address, not yet running.

    Parameters
    ----------
    folder : Path
        A built site.
    port : int
        0 takes a free one.

    Raises
    ------
    ServeError
        If the port cannot be had.
    """
    if not 0 <= port <= 65535:
        raise ServeError(f"there is no port {port}; give one from 0 (any free one) to 65535.")
    try:
        return _Server((LOOPBACK, port), partial(_Handler, folder.resolve()))
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            reason = "another program uses it"
        elif error.errno == errno.EACCES:
            reason = "the system does not let you have it"
        else:
            reason = str(error.strerror)
        raise ServeError(
            f"port {port} of {LOOPBACK} cannot be had: {reason}. "
            "Give another with --port, or --port 0 for any free one."
        ) from error


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Pass over a browser that went away in the middle: it is none of the server's troubles."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(request, client_address)  # type: ignore[arg-type]


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server_version = "bandbench"

    def __init__(self, folder: Path, *rest: object) -> None:
        self._folder = folder
        super().__init__(*rest)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        self._answer(with_body=True)

    def do_HEAD(self) -> None:
        self._answer(with_body=False)

    def log_message(self, *_: object) -> None:
        """Keep quiet: one line a file would bury the address."""

    def _page_policy(self) -> str:
        # A page that was built for a record store states so itself; the header must not forbid it again.
        index = self._folder / "index.html"
        return policy_of(index.read_text("utf-8")) if index.is_file() else PAGE_POLICY

    def _answer(self, *, with_body: bool) -> None:
        path = PurePosixPath(unquote(urlsplit(self.path).path).lstrip("/") or "index.html")
        target = self._folder / path
        suffix = path.suffix
        known = suffix in MEDIA_TYPES and ".." not in path.parts and target.is_file()
        if not known:
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        gzipped = target.with_name(target.name + ".gz")
        as_gzip = "gzip" in self.headers.get("Accept-Encoding", "") and gzipped.is_file()
        content = (gzipped if as_gzip else target).read_bytes()
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", MEDIA_TYPES[suffix])
        self.send_header("Content-Length", str(len(content)))
        if as_gzip:
            self.send_header("Content-Encoding", "gzip")
        self.send_header("Vary", "Accept-Encoding")
        self.send_header("Cache-Control", FOREVER if path.parts[0] == "assets" else "no-cache")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cross-Origin-Opener-Policy", "same-origin")
        policy = _POLICIES.get(path.name) or self._page_policy()
        self.send_header("Content-Security-Policy", policy + "; frame-ancestors 'self'")
        self.end_headers()
        if with_body:
            self.wfile.write(content)
