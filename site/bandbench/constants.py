"""The numbers that stand at the top of the modules of `sim`, with the comments that say where they come from.

Contents: `Constant`, `constants_of`, `constants_in`, `unmarked`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from bandbench.docstrings import marks_in, module_path, room_modules

__all__ = ["Constant", "constants_in", "constants_of", "unmarked"]

_NAME = re.compile(r"_?[A-Z][A-Z0-9_]*")


@dataclass(frozen=True)
class Constant:
    """A number, or a few, that a module declares under a name in capitals.

    Attributes
    ----------
    module, name : str
        Where it is.
    line : int
        Line of the file.
    value : float, int, tuple or mapping of them
        Its value.
    comment : str
        The comment above it or above the group without a blank line it belongs to, and the one behind it.
    """

    module: str
    name: str
    line: int
    value: Any
    comment: str

    @property
    def needs_mark(self) -> bool:
        """Whether it is a quantity: anything but whole numbers, which are counts, and zeros."""
        return any(isinstance(item, float) and item != 0.0 for item in _numbers(self.value))


def _numbers(value: Any) -> Iterator[float | int]:
    """Give every number of a value; nothing at all if it holds anything else."""
    if isinstance(value, bool):
        return
    if isinstance(value, (int, float)):
        yield value
    elif isinstance(value, Mapping):
        yield from _numbers(tuple(value.values()))
    elif isinstance(value, tuple) and all(isinstance(item, (int, float, tuple)) for item in value):
        for item in value:
            yield from _numbers(item)


def _declared(node: ast.stmt) -> list[str]:
    """Return the names in capitals that a statement declares."""
    if isinstance(node, ast.Assign):
        targets = [name for target in node.targets for name in ast.walk(target) if isinstance(name, ast.Name)]
    elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        targets = [node.target]
    else:
        targets = []
    return [target.id for target in targets if _NAME.fullmatch(target.id)]


def _comment_text(lines: list[str]) -> str:
    return " ".join(line.strip().removeprefix("#").strip() for line in lines)


def constants_of(module: str) -> list[Constant]:
    """Return the constants of a module of `sim`, in its order."""
    return constants_in(module, module_path(module).read_text(encoding="utf-8"), vars(import_module(module)))


def constants_in(module: str, text: str, values: Mapping[str, Any]) -> list[Constant]:
    """Return the constants that a module's text declares, with their values once it is loaded.

    Examples
    --------
    >>> text = "# MODEL: as wide as it looks.\\n_WIDTH_UM = 0.5"
    >>> [(one.name, one.comment, one.needs_mark) for one in constants_in("sim.it", text, {"_WIDTH_UM": 0.5})]
    [('_WIDTH_UM', 'MODEL: as wide as it looks.', True)]
    """
    lines, found = text.splitlines(), []
    comment: list[str] = []
    end_of_last = 0
    for node in ast.parse(text).body:
        if node.lineno - 1 != end_of_last:
            # A new group: the comment lines that touch it are its comment.
            first = node.lineno - 1
            while first and lines[first - 1].startswith("#"):
                first -= 1
            comment = lines[first : node.lineno - 1]
        assert node.end_lineno is not None
        end_of_last = node.end_lineno
        behind = re.search(r"\s(#\s.*)$", lines[end_of_last - 1])
        for name in _declared(node):
            value = values[name]
            if any(True for _ in _numbers(value)):
                said = _comment_text([*comment, behind[1]] if behind else comment)
                found.append(Constant(module, name, node.lineno, value, said))
    return found


def unmarked() -> list[str]:
    """Return the quantities among the constants of `sim` whose comment has no provenance mark, for people."""
    return [
        f"{module.replace('.', '/')}.py, line {constant.line}: {constant.name}"
        for module in room_modules()
        for constant in constants_of(module)
        if constant.needs_mark and not marks_in(constant.comment)
    ]
