"""The languages of the page: every text in each of them, and nothing that is kept depends on which is spoken."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

from bandbench.bench.datafiles import FOLDER, read_toml
from bandbench.bench.languages import (
    ENGLISH,
    SIM,
    WORDS_FOLDER,
    LanguageError,
    browser_json,
    flat_texts,
    language_texts,
)
from bandbench.bench.overlays import data_texts, with_texts
from bandbench.command import main
from bandbench.words import (
    alike_words,
    data_files,
    original_problems,
    overlay_problems,
    signed_originals,
    table_problems,
)
from sim import wording
from sim.training.assignment import LANGUAGES
from tests.pseudo_locale import pseudo

ROOT = Path(__file__).parents[1]
OTHERS = [name for name in LANGUAGES if name != ENGLISH]


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_has_every_text_and_no_other(language: str) -> None:
    texts, words = language_texts(language), f"{language}.toml"
    english = language_texts(ENGLISH).words
    assert list(table_problems(english, texts.words, words, alike_words(language))) == []
    assert list(original_problems(english, texts.words, signed_originals(language), words, "en.toml")) == []


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("name", data_files())
def test_texts_of_a_data_file_are_whole_and_of_the_english_as_it_is(language: str, name: str) -> None:
    problems = list(overlay_problems(language, name))
    if not (FOLDER / language / name).is_file():
        # Then it is shown in English as a whole.
        assert len(problems) == 1
        assert name not in language_texts(language).data
        return
    assert problems == []


def test_a_text_left_in_english_is_told_but_for_words_that_are_the_same() -> None:
    english = {
        "one": "Turn the guide", "two": "Modulator, {head} MHz", "three": "−10 dB", "four": "S/N {value}",
        "five": "Name",
    }  # fmt: skip
    alike = {"Modulator", "MHz", "dB"}
    found = list(table_problems(english, english, "de.toml", alike))
    told = [re.sub(r"^de\.toml, (\w+: is left in English).*: ([\w, ]+)\.$", r"\1: \2", line) for line in found]
    assert told == ["one: is left in English: Turn, guide, the", "five: is left in English: Name"]
    assert not list(table_problems(english, english | {"one": "Führung stellen", "five": "Der Name"}, "de.toml", alike))


def test_an_overlay_as_the_skeleton_writes_it_is_not_yet_translated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = "course.toml"
    (tmp_path / name).write_bytes((FOLDER / name).read_bytes())
    monkeypatch.setattr("bandbench.words.FOLDER", tmp_path)
    assert main(["words", "--language", "de", "skeleton", str(tmp_path / name)]) == 0
    texts = data_texts(name, read_toml((FOLDER / name).read_text("utf-8")))
    problems = list(overlay_problems("de", name))
    assert len(problems) == len(texts)
    assert all("is left in English" in problem for problem in problems)


def test_every_text_of_sim_is_said_and_every_text_said_is_there() -> None:
    files = (path for path in (ROOT / "sim").rglob("*.py") if path.parent.name != "wording")
    code = "\n".join(path.read_text("utf-8") for path in files)
    said = set(re.findall(r"""["']([a-z_]+(?:\.[a-z0-9_]+)+)["']""", code)) & set(wording.ENGLISH)
    literal = set(re.findall(r"""wording\(\s*["']([\w.]+)["']""", code))
    assert literal <= set(wording.ENGLISH)
    # Keys that are put together from a name, and units.
    begun = ("unit.", *re.findall(r"""f["']([a-z_.]+)\{""", code))
    assert [key for key in wording.ENGLISH if key not in said and not key.startswith(begun)] == []


def test_a_page_text_that_changes_in_english_is_told_until_the_language_is_signed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "originals-de.txt").write_bytes((WORDS_FOLDER / "originals-de.txt").read_bytes())
    monkeypatch.setattr("bandbench.words.WORDS_FOLDER", tmp_path)
    english = dict(language_texts(ENGLISH).words)
    english["controls.on"] = "switched on"
    (found,) = original_problems(english, language_texts("de").words, signed_originals("de"), "de.toml", "en.toml")
    assert re.match(r"de\.toml, controls\.on: the English text is new or has changed.*'switched on'$", found)
    lines = (tmp_path / "originals-de.txt").read_text("utf-8").replace("controls.on ", "controls.on 0")
    (tmp_path / "originals-de.txt").write_text(lines, "utf-8")
    assert main(["words", "--language", "de", "renew", str(WORDS_FOLDER / "en.toml")]) == 0
    assert "controls.on: signed as the translation of 'on'" in capsys.readouterr().out
    assert (tmp_path / "originals-de.txt").read_bytes() == (WORDS_FOLDER / "originals-de.txt").read_bytes()
    (tmp_path / "originals-de.txt").write_text("controls.on\n", "utf-8")
    with pytest.raises(LanguageError, match=r"line 1: 'controls\.on' is no key and a digest"):
        signed_originals("de")


def test_what_is_wrong_with_a_table_is_told() -> None:
    english = {"one": "Head {head}", "two": "Play", "three": "Stop"}
    found = list(table_problems(english, {"one": "Kopf", "two": " ", "four": "Vier"}, "de.toml"))
    assert [re.sub(r"^de\.toml, (\w+): (\w+ \w+).*", r"\1 \2", line) for line in found] == [
        "three is missing", "one fills in", "two is empty", "four there is",
    ]  # fmt: skip
    with pytest.raises(LanguageError, match="no text"):
        flat_texts({"one": {"two": 3}}, "de.toml")
    with pytest.raises(LanguageError, match="no texts in 'tlh'"):
        language_texts("tlh")


def test_a_data_file_keeps_everything_but_its_texts() -> None:
    name = "tracking-and-guide.toml"
    data: Any = read_toml((FOLDER / name).read_text("utf-8"))
    english = data_texts(name, data)
    other = with_texts(name, data, {key: pseudo(text) for key, text in english.items()})
    assert with_texts(name, other, english) == data
    assert other["title"] == pseudo(data["title"])
    assert other["checks"][0]["measurement"] == data["checks"][0]["measurement"]


def test_the_browsers_file_of_a_language_says_the_same() -> None:
    for language in OTHERS:
        sent = json.loads(browser_json(language))
        assert sent["words"] == dict(language_texts(language).words)
    # English texts of `sim` come with `sim`.
    assert not any(key.startswith(SIM) for key in json.loads(browser_json(ENGLISH))["words"])


def test_texts_are_installed_whole_and_before_the_first_is_said() -> None:
    with pytest.raises(wording.WordingError, match="lack"):
        wording.install({"list.and": " und "})
    with pytest.raises(wording.WordingError, match="said already"):
        wording.install(wording.ENGLISH)


_ATTEMPT = """
import ast
import json
from dataclasses import replace
from datetime import UTC, datetime
from bandbench.bench.datafiles import FOLDER
from bandbench.bench.drafts import read_draft
from bandbench.bench.faults import FAULTS
from bandbench.bench.lessons import read_lessons
from bandbench.bench.scorm import answer_values, check_values
from bandbench.bench.links import parse_link
from bandbench.bench.recordform import parse_records
from bandbench.bench.recordrows import checked_name
from bandbench.bench.words import say
from sim.controls import CONTROLS
from sim.training.assignment import assignment_from_text
from sim.training.attempt import attempt_from_json
from sim.training.deal import deal
from sim.training.lint import solution_attempt
from sim.training.run import machine_for
from sim.training.score import score_attempt
from sim.training.reader import DataError
from sim.training.statements import Circumstances, attempt_statements


def refusal(read, *given):
    try:
        read(*given)
    except DataError as error:
        return [error.problem.reason.partition(" (")[0], error.problem.remedy]


def dropped(old, new):
    # A lesson file with something wrong in it, as it is judged when it is dropped.
    text = (FOLDER / "tracking-and-guide.toml").read_text("utf-8")
    assert text.count(old) == 1, old
    (problem,) = read_draft("mine.toml", text.replace(old, new)).problems
    return [problem.reason, problem.remedy]


lesson = read_lessons()["guide-position"]
machine = machine_for(lesson, FAULTS)
attempt = solution_attempt(lesson, deal(lesson, 3, machine), machine)
score = score_attempt(lesson, attempt, machine)
far = replace(lesson, solution=[replace(move, value=1e6) for move in lesson.solution])
began = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
told = attempt_statements(lesson, attempt, Circumstances("learner", "0" * 8, began, "test"), score)
scorm = [list(answer_values(1, lesson, one, "o", began, 1.0)) for one in score.answers]
scorm += [list(check_values(1, lesson, one, "o", began, 1.0)) for one in score.deciding.results]
print(json.dumps({
    "seen": [CONTROLS["guide_position_um"].label, say("controls.reset"), lesson.title, score.reason,
             *(words for question in lesson.questions for _, words in question.option_words)],
    "kept": [attempt.to_json(), score.passed, score.points, scorm],
    "told": told,
    "refused": [refusal(parse_link, "?mode=rest", {}), refusal(parse_link, "?seed=3", {}),
                refusal(assignment_from_text, "format_version = 1", "set.toml", {}),
                refusal(assignment_from_text, "= 1", "set.toml", {}),
                refusal(parse_records, "{}", "class.json"), refusal(attempt_from_json, "{", "log.json"),
                refusal(checked_name, " "), refusal(solution_attempt, far, deal(lesson, 3, machine), machine),
                dropped('mode = "practice"', 'mode = "exam"'), dropped("minutes = 10", "minuts = 10"),
                dropped('kind = "peak"', 'kind = "peak"\\ntarget = 1'), dropped('"alignment-525"', '"beech"'),
                dropped('measurement = "skew_us"', 'measurement = "lean"'),
                dropped('must_fail = ["rf", ', 'must_fail = ["hum", ')],
}))
"""


def _spoken(language: str, code: str) -> dict[str, Any]:
    """Return what code prints as JSON in a process that speaks a language."""
    environment = os.environ | {"BANDBENCH_LANGUAGE": language, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'site'}"}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def _without_words(value: object) -> object:
    """Return a statement without its language maps and the language it was said in."""
    if isinstance(value, dict):
        return {
            key: _without_words(one)
            for key, one in value.items()
            if key not in ("name", "description", "language") or not isinstance(one, dict | str)
        }
    return [_without_words(one) for one in value] if isinstance(value, list) else value


def test_what_is_logged_scored_and_reported_is_the_same_in_every_language() -> None:
    english = _spoken(ENGLISH, _ATTEMPT)
    for language in OTHERS:
        other = _spoken(language, _ATTEMPT)
        assert other["kept"] == english["kept"]
        assert _without_words(other["told"]) == _without_words(english["told"])
        assert other["seen"][:2] != english["seen"][:2]
        for theirs, ours in zip(other["refused"], english["refused"], strict=True):
            assert all(one and one != same for one, same in zip(theirs, ours, strict=True)), theirs
        if "guide-position.toml" in language_texts(language).data:
            assert all(one != same for one, same in zip(other["seen"], english["seen"], strict=True))


def _is_refusal(call: ast.Call) -> bool:
    """Tell whether a call names a text of a refusal or of what is wrong with a lesson."""
    begun = ("lesson_problem.", "refusal.")
    return any(isinstance(given, ast.Constant) and str(given.value).startswith(begun) for given in call.args)


def test_who_says_a_text_gives_what_it_asks_for() -> None:
    """Each text that is named where it is said, by `say` or `wording`, gets a value for every place in it."""
    texts = {**language_texts(ENGLISH).words, **wording.ENGLISH}
    said = 0
    for path in (path for part in ("sim", "site/bandbench") for path in (ROOT / part).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            if node.func.id not in ("say", "wording"):
                continue
            # Without any value `wording` gives the text as it stands, to be filled in later; never a refusal's.
            if node.func.id == "wording" and not node.keywords and not _is_refusal(node):
                continue
            if any(value.arg is None for value in node.keywords):
                continue
            match node.args:
                case [ast.Constant(value=str(key))] if key in texts:
                    wanted = {name for _, name, _, _ in Formatter().parse(texts[key]) if name is not None}
                    lacking = wanted - {str(value.arg) for value in node.keywords}
                    assert not lacking, f"{path.name}:{node.lineno}: {key} lacks {sorted(lacking)}"
                    said += 1
    assert said > 500
