"""The server: types, gzip, caching and policies as a good static host sends them; clear errors."""

from __future__ import annotations

import gzip
import http.client
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from bandbench.serve import LOOPBACK, ServeError, make_server

FILES = {
    "index.html": b"<!doctype html>",
    "index.html.gz": gzip.compress(b"<!doctype html>"),
    "assets/page-0/main.mjs": b"export {};",
    "assets/page-0/worker.mjs": b"export {};",
    "assets/page-0/maker.mjs": b"export {};",
    "assets/pyodide-0/pyodide.asm.wasm": b"\0asm",
    "assets/python-0/site-packages.pack": b"packed",
    "build.json": b"{}",
    "service-worker.js": b"",
}


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    folder = tmp_path_factory.mktemp("served")
    for name, content in FILES.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    (folder.parent / "secret.json").write_bytes(b"{}")
    server = make_server(folder)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server.server_address[1]
    server.shutdown()
    server.server_close()


def get(port: int, path: str, method: str = "GET", **headers: str) -> tuple[http.client.HTTPResponse, bytes]:
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=10)
    connection.request(method, path, headers=headers)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer, content


@pytest.mark.parametrize(
    ("path", "media_type"),
    [
        ("/", "text/html; charset=utf-8"),
        ("/assets/page-0/main.mjs", "text/javascript; charset=utf-8"),
        ("/assets/pyodide-0/pyodide.asm.wasm", "application/wasm"),
        ("/assets/python-0/site-packages.pack", "application/octet-stream"),
    ],
)
def test_media_types(port: int, path: str, media_type: str) -> None:
    answer, content = get(port, path)
    assert answer.status == 200
    assert answer.headers["Content-Type"] == media_type
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert content == FILES[path.lstrip("/") or "index.html"]


def test_gzip_only_where_it_is_there_and_wanted(port: int) -> None:
    answer, content = get(port, "/", **{"Accept-Encoding": "gzip, br"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(content) == FILES["index.html"]
    answer, content = get(port, "/", **{"Accept-Encoding": "identity"})
    assert answer.headers["Content-Encoding"] is None
    assert content == FILES["index.html"]
    answer, _ = get(port, "/assets/page-0/main.mjs", **{"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] is None


def test_files_named_by_content_are_kept_for_good_and_the_page_is_not(port: int) -> None:
    assert "immutable" in get(port, "/assets/page-0/main.mjs")[0].headers["Cache-Control"]
    assert get(port, "/")[0].headers["Cache-Control"] == "no-cache"
    assert get(port, "/build.json")[0].headers["Cache-Control"] == "no-cache"


def test_the_service_worker_may_fetch_and_nothing_else_and_is_asked_for_anew(port: int) -> None:
    answer, _ = get(port, "/service-worker.js")
    assert answer.headers["Cache-Control"] == "no-cache"
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; connect-src 'self'")
    assert "eval" not in policy


def test_only_the_workers_may_compile_webassembly(port: int) -> None:
    page = get(port, "/")[0].headers["Content-Security-Policy"]
    worker = get(port, "/assets/page-0/worker.mjs")[0].headers["Content-Security-Policy"]
    maker = get(port, "/assets/page-0/maker.mjs")[0].headers["Content-Security-Policy"]
    assert "eval" not in page
    assert "'wasm-unsafe-eval'" in worker
    assert "'wasm-unsafe-eval'" in maker
    assert "'unsafe-eval'" not in maker
    assert "connect-src 'self'" in worker
    assert "http" not in page + worker


@pytest.mark.parametrize(
    "path", ["/missing.html", "/../secret.json", "/%2e%2e/secret.json", "/assets/", "/index.html.gz"]
)
def test_what_is_not_there(port: int, path: str) -> None:
    assert get(port, path)[0].status == 404


def test_head_has_the_length_and_no_content(port: int) -> None:
    answer, content = get(port, "/", method="HEAD")
    assert answer.status == 200
    assert int(answer.headers["Content-Length"]) == len(FILES["index.html"])
    assert content == b""


def test_a_port_in_use_is_told_with_the_remedy(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        number = taken.getsockname()[1]
        with pytest.raises(ServeError, match=rf"port {number} .* another program uses it.*--port"):
            make_server(tmp_path, number)


@pytest.mark.parametrize("number", [-1, 65536])
def test_a_port_that_does_not_exist(tmp_path: Path, number: int) -> None:
    with pytest.raises(ServeError, match="there is no port"):
        make_server(tmp_path, number)
