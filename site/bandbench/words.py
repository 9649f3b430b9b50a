"""``bandbench words``: check the texts in other languages, and write what is to be translated.

The page's texts stand in ``site/words/LANGUAGE.toml``, and in ``originals-LANGUAGE.txt`` beside it a digest of the
English text that each translates, by which the check sees which have changed. Those of a data file of ``lessons/``
stand in an overlay, ``lessons/LANGUAGE/`` and the same name: a table ``[texts]`` by key (see
`bandbench.bench.overlays`), and a table ``[originals]`` with the same digests.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from bandbench.bench.datafiles import FOLDER, read_toml
from bandbench.bench.languages import ENGLISH, WORDS_FOLDER, LanguageError, flat_texts, language_texts
from bandbench.bench.overlays import PLACEHOLDER, data_texts, placeholders, text_digest
from sim.training.assignment import LANGUAGES

__all__ = [
    "add_arguments", "alike_words", "data_files", "original_problems", "overlay_problems", "run", "signed_originals",
    "table_problems",
]  # fmt: skip

_HEAD = "# {title} of lessons/{name}, by key. How to work on this file: DEVELOPERS.md, “Add a language, add a text”.\n"
# One letter alone is a formula's sign or a test point, and digits are no words.
_WORD = re.compile(r"[^\W\d_]{2,}")
_PAGE = WORDS_FOLDER / f"{ENGLISH}.toml"
_SIGNED = "# Which English text each of {name} translates. Written by `bandbench words renew site/words/en.toml`.\n"
_ORIGINALS = "\n# Which English text each translates. Written by `bandbench words renew`, never by hand.\n[originals]\n"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of ``bandbench words``."""
    parser.add_argument(
        "--language", default="", metavar="CODE", help="such as de; for `check`: that one alone (all there are)"
    )
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    check = actions.add_parser("check", help="say what is missing, too much, out of date or wrongly filled in")
    check.add_argument("files", nargs="*", type=Path, metavar="FILE", help="data files such as lessons/x.toml (all)")
    for name, text in (
        ("skeleton", "write an overlay with the English texts, to be translated"),
        ("renew", "after translating what has changed: sign a language's texts as those of the English file as it is"),
    ):
        one = actions.add_parser(name, help=text)
        also = "; or site/words/en.toml for the page's" if name == "renew" else ""
        one.add_argument("files", nargs="+", type=Path, metavar="FILE", help=f"data files: lessons/x.toml{also}")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks."""
    if arguments.action == "check":
        others = [arguments.language] if arguments.language else [name for name in _languages() if name != ENGLISH]
        files = [_data_name(path) for path in arguments.files]
        found = [line for language in others for line in _check(language, files)]
        for line in found:
            print(line)
        print(f"{len(found)} to be corrected." if found else "All texts are in order.")
        return 1 if found else 0
    language = arguments.language or next((name for name in _languages() if name != ENGLISH), "")
    if not language:
        raise LanguageError("There is no second language yet: say which with --language, as in --language de.")
    for path in arguments.files:
        if arguments.action == "renew" and path.resolve() == _PAGE.resolve():
            _renew_page(language)
            continue
        name = _data_name(path)
        (_skeleton if arguments.action == "skeleton" else _renew)(language, name)
    return 0


def _languages() -> list[str]:
    return sorted({*LANGUAGES, *(path.stem for path in WORDS_FOLDER.glob("*.toml"))})


def data_files() -> list[str]:
    """Return the paths under ``lessons`` of all data files."""
    return [path.relative_to(FOLDER).as_posix() for folder in ("", "demonstrations") for path in
            sorted((FOLDER / folder).glob("*.toml"))]  # fmt: skip


def _data_name(path: Path) -> str:
    whole = path.resolve()
    if not whole.is_file() or not whole.is_relative_to(FOLDER.resolve()):
        raise LanguageError(f"{path} is no data file; give one of lessons/, such as lessons/tracking-and-guide.toml.")
    name = whole.relative_to(FOLDER.resolve()).as_posix()
    if name not in data_files():
        raise LanguageError(f"{path} is an overlay; give the English file of the same name.")
    return name


def _english(name: str) -> dict[str, str]:
    data: Any = read_toml((FOLDER / name).read_text("utf-8"))
    return data_texts(name, data)


def _check(language: str, files: list[str]) -> Iterator[str]:
    if not files:
        words = WORDS_FOLDER / f"{language}.toml"
        theirs = language_texts(language).words if words.is_file() else {}
        english = language_texts(ENGLISH).words
        yield from table_problems(english, theirs, words.name, alike_words(language))
        yield from original_problems(english, theirs, signed_originals(language), words.name, "site/words/en.toml")
        for path in sorted((FOLDER / language).rglob("*.toml")):
            name = path.relative_to(FOLDER / language).as_posix()
            if name not in data_files():
                yield f"lessons/{language}/{name}: there is no file lessons/{name}; take it away."
    for name in files or data_files():
        yield from overlay_problems(language, name)


def alike_words(language: str) -> frozenset[str]:
    """Return the words that a language writes as English does: names, units, words of the trade."""
    path = WORDS_FOLDER / f"alike-{language}.txt"
    lines = path.read_text("utf-8").splitlines() if path.is_file() else []
    return frozenset(word for line in lines if not line.startswith("#") for word in line.split())


def table_problems(
    english: Mapping[str, str], other: Mapping[str, str], source: str, alike: Collection[str] = ()
) -> Iterator[str]:
    """Yield what is wrong with a table of texts beside the English one: missing, too much, other placeholders, or left
    in English although not all its words are `alike` in both.
    """
    for key in english:
        if key not in other:
            yield f"{source}, {key}: is missing. English: {english[key]!r}"
    for key, text in other.items():
        if key not in english:
            yield f"{source}, {key}: there is no such English text; take it away."
        elif not text.strip() or (text != text.strip() and english[key] == english[key].strip()):
            yield f"{source}, {key}: is empty, or begins or ends with a blank."
        elif placeholders(text) != placeholders(english[key]):
            yield (
                f"{source}, {key}: fills in {placeholders(text)}, English {placeholders(english[key])}; use the same."
            )
        elif text == english[key] and (words := _words_of(text) - set(alike)):
            yield (
                f"{source}, {key}: is left in English: {text!r}. Translate it; if that is how the language says it, "
                f"add to alike-LANGUAGE.txt beside en.toml: {', '.join(sorted(words))}."
            )


def _words_of(text: str) -> set[str]:
    return set(_WORD.findall(PLACEHOLDER.sub("", text)))


def overlay_problems(language: str, name: str) -> Iterator[str]:
    """Yield what is wrong with a language's texts of a data file."""
    path = FOLDER / language / name
    source = f"lessons/{language}/{name}"
    if not path.is_file():
        yield f"{source}: is missing (`bandbench words --language {language} skeleton lessons/{name}`)."
        return
    english = _english(name)
    data = read_toml(path.read_text("utf-8"))
    texts, originals = data.get("texts"), data.get("originals")
    if not isinstance(texts, Mapping) or not isinstance(originals, Mapping):
        yield f"{source}: lacks the table [texts] or [originals]."
        return
    yield from table_problems(english, flat_texts(texts, source), source, alike_words(language))
    yield from original_problems(english, texts, originals, source, f"lessons/{name}")


def original_problems(
    english: Mapping[str, str], other: Collection[str], signed: Mapping[str, str], source: str, file: str
) -> Iterator[str]:
    """Yield which texts of a language are not signed as those of the English texts in `file` as they are now."""
    for key, text in _unsigned(english, other, signed):
        yield (
            f"{source}, {key}: the English text is new or has changed; translate it, then sign it: "
            f"`bandbench words renew {file}`. English: {text!r}"
        )


def _unsigned(
    english: Mapping[str, str], other: Collection[str], signed: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Yield, of the texts that the other language has, key and English text of those signed as another's or not."""
    return ((key, text) for key, text in english.items() if key in other and signed.get(key) != text_digest(text))


def signed_originals(language: str) -> dict[str, str]:
    """Return, by the keys of the page's texts, digests of the English that a language translates; none if unsigned.

    Raises
    ------
    LanguageError
        If a line of the file is no key and a digest.
    """
    path = _signed_file(language)
    lines = path.read_text("utf-8").splitlines() if path.is_file() else []
    signed: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            continue
        key, separator, digest = line.partition(" ")
        if not separator:
            raise LanguageError(f"{path.name}, line {number}: {line!r} is no key and a digest; renew the file.")
        signed[key] = digest
    return signed


def _signed_file(language: str) -> Path:
    return WORDS_FOLDER / f"originals-{language}.txt"


def _renew_page(language: str) -> None:
    english, theirs = language_texts(ENGLISH).words, language_texts(language).words
    signed = signed_originals(language)
    for key, text in _unsigned(english, theirs, signed):
        print(f"{key}: signed as the translation of {text!r}")
    lines = [_SIGNED.format(name=f"{language}.toml")]
    lines += [f"{key} {text_digest(text)}\n" for key, text in english.items() if key in theirs]
    _signed_file(language).write_text("".join(lines), "utf-8")


def _skeleton(language: str, name: str) -> None:
    path = FOLDER / language / name
    if path.exists():
        raise LanguageError(f"{path} is there already; `bandbench words renew lessons/{name}` adds what it lacks.")
    path.parent.mkdir(parents=True, exist_ok=True)
    english = _english(name)
    _write(path, language, name, english, english)
    print(f"Wrote {path} with {len(english)} texts to be translated.")


def _renew(language: str, name: str) -> None:
    path = FOLDER / language / name
    if not path.is_file():
        raise LanguageError(f"{path} is not there; begin with `bandbench words skeleton lessons/{name}`.")
    english = _english(name)
    data: Any = read_toml(path.read_text("utf-8"))
    kept: dict[str, str] = data.get("texts", {})
    signed: dict[str, str] = data.get("originals", {})
    for key, text in english.items():
        if key not in kept:
            print(f"{key}: added in English, to be translated: {text!r}")
        elif signed.get(key) != text_digest(text):
            print(f"{key}: signed as the translation of {text!r}")
    for key in kept:
        if key not in english:
            print(f"{key}: taken away; English has it no more")
    _write(path, language, name, english, {key: kept.get(key, text) for key, text in english.items()})


def _write(path: Path, language: str, name: str, english: Mapping[str, str], texts: Mapping[str, str]) -> None:
    title = f"Texts in {language!r}"
    lines = [_HEAD.format(title=title, name=name), "[texts]\n"]
    lines += [f"{_quoted(key)} = {_text(text)}\n" for key, text in texts.items()]
    lines.append(_ORIGINALS)
    lines += [f'{_quoted(key)} = "{text_digest(text)}"\n' for key, text in english.items()]
    path.write_text("".join(lines), "utf-8")


def _quoted(text: str) -> str:
    # What JSON escapes, TOML reads in the same way.
    return json.dumps(text, ensure_ascii=False)


def _text(text: str) -> str:
    if "\n" not in text.strip():
        return _quoted(text)
    escaped = text.replace("\\", "\\\\").replace('"""', '""\\"')
    return f'"""\n{escaped}"""'
