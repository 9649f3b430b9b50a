"""The look: contrasts of the tokens in both schemes, no colour outside them, every size on the scale."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from bandbench.bench.graticule import level_marks, share_marks, vector_marks
from bandbench.bench.plots import HEAD_HUES
from bandbench.bench.sheets import Prose, Sheet, sheets_html
from bandbench.bench.tokens import SCHEMES, TOKENS, Scheme, colour_of
from sim.colour import bar_targets
from sim.standards import get_standard

SITE = Path(__file__).parents[1] / "site"
SHEETS = sorted([*(SITE / "static").glob("*.css"), *(SITE / "bandbench" / "bench").glob("*.css")])
# Where a colour can be written: style sheets, scripts, markup, and Python that makes any of them.
WRITTEN = [
    path
    for folder in (SITE / "static", SITE / "bandbench")
    for path in sorted(folder.rglob("*"))
    if path.suffix in {".css", ".mjs", ".html", ".py"} and path.name != "tokens.css"
]
TEXT, GRAPHICS = 4.5, 3.0
"""PUB WCAG 2.2: 1.4.3 Contrast (Minimum) for text, 1.4.11 Non-text Contrast."""

GROUNDS = ("ground", "sheet", "well", "hover", "pressed", "chosen", "notice")
FIGURE = ("figure-marked", "figure-band")
SURFACES = ("ground", "sheet", "well", "chosen")


def luminance(colour: str) -> float:
    """Relative luminance (PUB WCAG 2.2, glossary)."""
    parts = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (PUB WCAG 2.2, glossary)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_of_contrast_is_right() -> None:
    # PUB WCAG 2.2: black on white is 21:1; #767676 on white is the well-known grey just above 4.5:1 (common practice).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("text", ["ink", "quiet", "good", "warn", "bad", "accent"])
def test_text_is_read_on_every_ground(text: str, scheme: Scheme) -> None:
    ratios = {ground: contrast(colour_of(text, scheme), colour_of(ground, scheme)) for ground in GROUNDS}
    assert min(ratios.values()) >= TEXT, ratios


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_on_the_accent_is_read(scheme: Scheme) -> None:
    assert contrast(colour_of("on-accent", scheme), colour_of("accent", scheme)) >= TEXT


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    "mark",
    [
        *("edge", "groove", "knob", "focus", "accent", *FIGURE),
        *(f"head-{head}" for head in range(1, 5)),
    ],
)
def test_what_is_read_without_words_stands_out(mark: str, scheme: Scheme) -> None:
    grounds = SURFACES[1:2] if mark == "groove" else SURFACES
    ratios = {ground: contrast(colour_of(mark, scheme), colour_of(ground, scheme)) for ground in grounds}
    assert min(ratios.values()) >= GRAPHICS, ratios


def test_screens_and_paper_are_read() -> None:
    screen, paper = colour_of("screen"), colour_of("paper")
    for text in ("screen-text", "trace", "marked", "band", *(f"screen-head-{head}" for head in range(1, 5))):
        assert contrast(colour_of(text), screen) >= TEXT, text
    assert contrast(colour_of("screen-edge"), screen) >= GRAPHICS
    for text in ("paper-ink", "paper-quiet", "paper-line"):
        assert contrast(colour_of(text), paper) >= TEXT, text
    assert contrast(colour_of("paper-rule"), paper) >= GRAPHICS


def test_the_heads_have_the_same_hues_on_the_picture_and_in_every_figure() -> None:
    assert tuple(colour_of(f"head-{head}", "dark") for head in range(1, 5)) == HEAD_HUES
    assert tuple(colour_of(f"screen-head-{head}") for head in range(1, 5)) == HEAD_HUES


def test_no_colour_is_written_outside_the_tokens() -> None:
    # "#1a2b3c" and short forms, rgb(), hsl(); not "#root-name" nor addresses of parts of a page.
    colour = re.compile(r"[\"'\s:(]#(?:[0-9a-fA-F]{3,4}|[0-9a-fA-F]{6}|[0-9a-fA-F]{8})(?=[\"';\s,)])|\b(?:rgb|hsl)a?\(")
    found = {
        f"{path.relative_to(SITE)}: {match.group().strip()}"
        for path in WRITTEN
        for match in colour.finditer(path.read_text("utf-8"))
    }
    assert found == set()


def test_every_size_of_text_is_on_the_scale() -> None:
    sizes = [float(TOKENS[f"text-{step}"].removesuffix("rem")) for step in range(1, 7)]
    assert all(after > before for before, after in pairwise(sizes))
    for path in SHEETS:
        if path.name in {"tokens.css", "paper.css"}:
            continue
        written = re.findall(r"font-size: ([^;}]+)", path.read_text("utf-8"))
        # Drawings have their own scale: picture elements of the drawing, which grows with its place.
        off = {size for size in written if not size.startswith("var(--text-") and not size.endswith("px")}
        assert off == set(), path.name


def test_every_token_that_is_used_is_declared_and_every_one_declared_is_used() -> None:
    texts = "".join(path.read_text("utf-8") for path in (*SHEETS, *WRITTEN))
    used = set(re.findall(r"var\(--([a-z0-9-]+)", texts))
    own = set(re.findall(r"[{;\s]--([a-z0-9-]+):", texts)) | set(re.findall(r'setProperty\("--([a-z0-9-]+)"', texts))
    assert used - own == set()
    asked_for = set(re.findall(r'colour_of\(f?"([a-z-]+)', texts))
    idle = {name for name in TOKENS if name not in used and not any(name.startswith(one) for one in asked_for)}
    assert idle <= set(), idle


def contrast_rows() -> list[str]:
    """The table of contrasts in LOOK.md: the least on any ground, in both schemes."""

    def row(title: str, text: str, grounds: tuple[str, ...]) -> str:
        least = (min(contrast(colour_of(text, one), colour_of(ground, one)) for ground in grounds) for one in SCHEMES)
        return f"| {title} | " + " | ".join(f"{ratio:.1f}" for ratio in least) + " |"

    heads = [f"head-{head}" for head in range(1, 5)]
    rows = [row(f"`{text}` as text", text, GROUNDS) for text in ("ink", "quiet", "good", "warn", "bad", "accent")]
    rows.append(row("`on-accent` on `accent`", "on-accent", ("accent",)))
    rows += [row(f"`{mark}`", mark, SURFACES) for mark in ("edge", "knob", "focus", *heads, *FIGURE)]
    rows.append(row("`groove` on `sheet`", "groove", ("sheet",)))
    for ground, texts in (
        ("screen", ("screen-text", "trace", "marked", "band", "screen-edge", *(f"screen-{head}" for head in heads))),
        ("paper", ("paper-ink", "paper-quiet", "paper-line", "paper-rule")),
    ):
        for text in texts:
            rows.append(f"| `{text}` on `{ground}` | {contrast(colour_of(text), colour_of(ground)):.1f} | the same |")
    return rows


def test_the_review_has_the_contrasts_as_they_are() -> None:
    written = [line for line in (SITE / "LOOK.md").read_text("utf-8").splitlines() if re.search(r"\d\.\d \|", line)]
    assert written == contrast_rows()


def test_paper_brings_its_tokens_along() -> None:
    page = sheets_html("T", [Sheet("job", "T", ((Prose("Text."),),))], "en-GB")
    style = page[page.index("<style>") : page.index("</style>")]
    used, declared = set(re.findall(r"var\(--([a-z0-9-]+)", style)), set(re.findall(r"--([a-z0-9-]+):", style))
    assert used - declared == set()


def test_the_face_of_the_monitor_names_the_levels_one_sets_by() -> None:
    # PUB Recommendation ITU-R BT.470, as `sim.standards` has it: 625/50 has no set-up, its levels are counted in mV.
    names = [name for _, _, name, _, _ in level_marks(get_standard("625/50"), (0.0, 64.0)).names]
    assert names == ["white 700", "blanking 0", "sync \N{MINUS SIGN}300"]
    lines = level_marks(get_standard("525/60"), (10.0, 20.0)).lines
    assert [ys[0] for _, ys, _ in lines] == [100.0, 7.5, 0.0, -40.0]
    assert all(xs == [10.0, 20.0] for xs, _, _ in lines)
    assert [ys for _, ys, _ in share_marks((0.0, 1.0)).lines] == [[1.0, 1.0], [-1.0, -1.0]]


def test_the_face_of_the_vectorscope_holds_boxes_circle_and_cross_inside_the_screen() -> None:
    standard = get_standard("525/60")
    targets = bar_targets(standard)
    limit = 0.65 * standard.white_level
    marks = vector_marks(targets.values(), limit)
    assert {name for _, _, name, _, _ in marks.names} == set(targets)
    # A cross, a circle, a stroke every ten degrees, two boxes a bar.
    assert len(marks.lines) == 2 + 1 + 36 + 2 * len(targets)
    assert max(np.abs([*xs, *ys]).max() for xs, ys, _ in marks.lines) <= limit
    assert all(np.hypot(x, y) < limit for x, y, _, _, _ in marks.names)
