"""Python's standard library for the browser: trimmed and compiled, as the one zip that Pyodide takes it from.

Pyodide's own zip holds sources, so that every start compiles some two hundred modules before Python can do anything:
two thirds of the time that Python took to start. The zip made here has the same modules as bytecode, under the name
that Pyodide asks for.
"""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

from bandbench.build_bytecode import compiled

__all__ = ["STDLIB_NAME", "stdlib_zip"]

STDLIB_NAME = "python_stdlib.zip"
"""What Pyodide asks for, beside its runtime."""

_PLACE = "/lib/python314.zip"
_KEPT_ENCODINGS = (
    r"__init__|aliases|ascii|charmap|cp437|cp1252|idna|latin_1|iso8859_1|punycode|raw_unicode_escape|unicode_escape"
    r"|undefined|utf_\w+"
)
# Programs, servers, processes, other machines' protocols: nothing of it can run in a browser, and nothing asks for it.
_DROPPED = re.compile(
    rf"""
    ^(multiprocessing|_pyrepl|pydoc_data|xmlrpc|wsgiref|sqlite3|idlelib|ensurepip|venv|dbm|curses|turtledemo)/
    | ^(pydoc|doctest|pdb|bdb|rlcompleter|mailbox|imaplib|poplib|smtplib|ftplib|telnetlib|netrc
        |plistlib|modulefinder|compileall|py_compile|pyclbr|tabnanny|zipapp|filecmp|fileinput|shelve|sched|pty|tty
        |nturl2path|antigravity|this|__hello__|turtle|wave|symtable|trace|optparse|socketserver)\.py$
    | ^__phello__/
    | ^encodings/(?!({_KEPT_ENCODINGS})\.py$)
    """,
    re.VERBOSE,
)
# The oldest date a zip can hold: the time of building must not make two builds differ.
_DATE = (1980, 1, 1, 0, 0, 0)


def stdlib_zip(core: Path) -> bytes:
    """Return the standard library as a zip of bytecode, always the same for the same Pyodide.

    Parameters
    ----------
    core : Path
        The folder from `bandbench.pyodide_source.pyodide_core`.
    """
    with zipfile.ZipFile(core / STDLIB_NAME) as archive:
        names = [name for name in archive.namelist() if not name.endswith("/") and not _DROPPED.search(name)]
        sources = {name: archive.read(name) for name in names}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in sorted(compiled(sources, core, optimise=2, place=_PLACE).items()):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.create_system = 3
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, content, compresslevel=9)
    return buffer.getvalue()
