"""The reference pages, made from the data itself: nothing in them is typed twice.

Contents: `Page`, `PageSection`, `reference_pages` and the page makers behind it (glossary, standards, formulas,
controls, readings, symptom chart, cautions).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

from bandbench.bench.faults import FAULTS
from bandbench.bench.glossary import Term
from bandbench.bench.readings import quantity, setting, typeset, unit_sign
from bandbench.bench.words import say
from sim.controls import CONTROLS, STAGES, ControlSpec
from sim.faultchart import Cause, symptom_chart
from sim.faults import VIEWS, FaultSpec
from sim.headtape import azimuth_loss_db, gap_loss_db, spacing_loss_db, wavelength_m
from sim.headwheel import quadrature_s, scallop_s, skew_s
from sim.instruments import MEASUREMENTS
from sim.instruments.specs import GROUPS
from sim.sound import AUDIO_HEAD_DISTANCE_M, audio_delay_s
from sim.standards import FOOTPRINT, PRACTICES, STANDARDS, Footprint, Practice, Standard
from sim.tracking import overlap
from sim.training.lesson import Lesson
from sim.training.parts import source_text
from sim.transport import ACTS

__all__ = ["Page", "PageSection", "reference_pages", "source_words", "value_words"]

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "\N{MICRO SIGN}"), (1e-9, "n"))
_UNITS = {"_hz": "Hz", "_s": "s", "_m": "m", "_deg": "deg", "_m_per_s": "m/s"}
_LEVELS = frozenset({"sync_level", "blanking_level", "white_level", "setup_level", "burst_amplitude"})
# What source_text says of exercises is said here of the simulator.
_LEADS = {"QUOTED": "reference.quoted", "DERIVED": "reference.derived", "MODEL": "reference.chosen"}
_BOTH = ("525/60", "625/50")


@dataclass(frozen=True)
class PageSection:
    """One table: its heading (may be empty), the names of its columns, and its rows, the first cell the row's own."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Page:
    """One reference page: name, title, a sentence about it, and its tables."""

    name: str
    title: str
    text: str
    sections: tuple[PageSection, ...]


def reference_pages(
    terms: Sequence[Term], lessons: Mapping[str, Lesson], faults: Mapping[str, FaultSpec] = FAULTS
) -> tuple[Page, ...]:
    """Return all reference pages."""
    return (
        _glossary(terms),
        _standards(),
        _formulas(),
        _controls(),
        _readings(),
        _symptoms(faults),
        _cautions(lessons),
    )


def _page(name: str, sections: Iterable[PageSection]) -> Page:
    return Page(name, say(f"reference.page_{name}"), say(f"reference.about_{name}"), tuple(sections))


def _columns(*names: str) -> tuple[str, ...]:
    return tuple(say(f"reference.column_{name}") for name in names)


# Words for numbers --------------------------------------------------------------------------------------------------


def source_words(provenance: str) -> str:
    """Return where a number comes from, for people: what is from memory or our own choice is called typical.

    Examples
    --------
    >>> source_words("MEMORY, 300 ns")
    'Typical, unchecked: 300 ns'
    """
    mark, _, rest = provenance.partition(" ")
    bare = mark.rstrip(",;:")
    if bare not in ("PUB", "QUOTED", "DERIVED", "TRADE", "MEMORY", "MODEL"):
        return provenance
    plain = rest.strip().replace("+-", "\N{PLUS-MINUS SIGN}") or say("reference.no_more")
    words = f"{say(_LEADS[bare])} {plain}" if bare in _LEADS else source_text(plain, bare)
    partly = "from memory" in rest and bare not in ("MEMORY", "MODEL")
    return say("reference.partly", text=words) if partly else words


def _suffix(name: str) -> str:
    """Return the unit's suffix of a name; empty if it has none."""
    return max((suffix for suffix in _UNITS if name.endswith(suffix)), key=len, default="")


def label_of(name: str) -> str:
    """Return a field's name as words: without its unit, the underscores blanks.

    Examples
    --------
    >>> label_of("line_sync_s"), label_of("tape_speed_m_per_s")
    ('Line sync', 'Tape speed')
    """
    words = name.removesuffix(_suffix(name)).replace("_", " ").replace(" 2t", " 2T")
    return words[:1].upper() + words[1:]


def _scaled(value: float, unit: str) -> str:
    """Return a number with the prefix that leaves one to three digits before the point, in as many as it needs."""
    if value == 0.0 or unit in ("deg", "m/s", "") or not math.isfinite(value):
        text = f"{value:.6g}".replace("-", "\N{MINUS SIGN}")
        return typeset(f"{text} {unit}".rstrip())
    factor, prefix = next((one for one in _PREFIXES if abs(value) >= one[0] * 0.9999), _PREFIXES[-1])
    text = f"{value / factor:.7g}".replace("-", "\N{MINUS SIGN}")
    return f"{text}\N{NO-BREAK SPACE}{prefix}{unit}"


def value_words(name: str, value: object, level_unit: str = "") -> str:
    """Return a value of the standards as people read it, in the unit its name ends with."""
    if isinstance(value, tuple):
        if value and isinstance(value[0], tuple):
            return "; ".join(value_words(name, one) for one in value)
        return ", ".join(value_words(name, one) for one in value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if name in _LEVELS:
        return f"{value:g}".replace("-", "\N{MINUS SIGN}") + f"\N{NO-BREAK SPACE}{level_unit}"
    return _scaled(float(value), _UNITS.get(_suffix(name), ""))


# Pages --------------------------------------------------------------------------------------------------------------


def _glossary(terms: Sequence[Term]) -> Page:
    rows = tuple((typeset(term.term), typeset(term.meaning), typeset(term.source_text)) for term in terms)
    return _page("glossary", [PageSection("", _columns("term", "meaning", "source"), rows)])


def _marked(record: Standard | Practice | Footprint) -> list[str]:
    return [one.name for one in fields(record) if one.name in record.provenance]


def _table_of(title: str, records: Mapping[str, Standard | Practice | Footprint]) -> PageSection:
    first, *others = records.values()
    columns: list[str] = [say("reference.column_quantity")]
    for name in records:
        columns += [name, say("reference.column_source")]
    rows = []
    for name in _marked(first):
        cells = [label_of(name)]
        for record in (first, *others):
            level_unit = record.level_unit if isinstance(record, Standard) else ""
            cells += [
                value_words(name, getattr(record, name), level_unit),
                source_words(record.provenance.get(name, "")),
            ]
        rows.append(tuple(cells))
    return PageSection(title, tuple(columns), tuple(rows))


def _standards() -> Page:
    of_standard = {name: [one for one in PRACTICES.values() if one.standard == name] for name in STANDARDS}
    sections = [_table_of(say("reference.scanning"), STANDARDS)]
    for name, practices in of_standard.items():
        title = say("reference.practices", standard=name)
        sections += [
            _table_of(f"{title}: {practice.name}", {say("reference.column_value"): practice}) for practice in practices
        ]
    sections.append(_table_of(say("reference.footprint"), {say("reference.column_value"): FOOTPRINT}))
    return _page("standards", sections)


_Formula = tuple[str, str, Callable[[Standard], str]]


def _tip(standard: Standard) -> float:
    return FOOTPRINT.tip_speed_m_per_s(standard.wheel_rate_hz)


def _wave_um(standard: Standard) -> float:
    """Wavelength of the carrier at blanking in the standard's last practice, its high band [um]."""
    practice = [one for one in PRACTICES.values() if one.standard == standard.name][-1]
    return float(wavelength_m(practice.blanking_hz, _tip(standard))) * 1e6


# How much of each thing the examples take: round amounts as they turn up at the bench.
_GUIDE_UM = 25.4
_SPACING_UM = 1.0
_GAP_UM = 1.0
_AZIMUTH_DEG = 0.5


def _formula_rows() -> list[_Formula]:
    """Return each formula as name, words, and what `sim` computes for a standard."""
    return [
        ("frame_rate", "line_rate_over_lines", lambda s: _scaled(s.frame_rate_hz, "Hz")),
        ("field_rate", "two_frames", lambda s: _scaled(s.field_rate_hz, "Hz")),
        ("line_period", "one_over_line_rate", lambda s: _scaled(s.line_period_s, "s")),
        ("wheel_rate", "turns_times_frames", lambda s: _scaled(s.wheel_rate_hz, "Hz")),
        ("passes", "four_times_turns", lambda s: f"{s.passes_per_frame}"),
        ("lines_per_band", "lines_over_passes", lambda s: f"{s.lines_per_pass:.2f}"),
        ("tip_speed", "circumference_times_rate", lambda s: _scaled(round(_tip(s), 2), "m/s")),
        ("wavelength", "speed_over_frequency", lambda s: f"{_wave_um(s):.2f}\N{NO-BREAK SPACE}\N{MICRO SIGN}m"),
        ("subcarrier_cycles", "subcarrier_over_line", lambda s: f"{s.subcarrier_cycles_per_line:.4f}"),
        ("skew", "two_sine", lambda s: quantity(skew_s(_GUIDE_UM, s) * 1e6, "us", signed=False)),
        ("scallop", "one_less_cosine", lambda s: quantity(scallop_s(_GUIDE_UM, s) * 1e6, "us", signed=False)),
        ("quadrature", "angle_over_turn", lambda s: quantity(quadrature_s(1.0, s) * 1e9, "ns", signed=False)),
        ("overlap", "one_less_offset", lambda _: f"{100 * overlap(FOOTPRINT.track_width_m / 4):.0f} %"),
        ("spacing_loss", "spacing_over_wave", lambda s: _db(spacing_loss_db(_SPACING_UM * 1e-6, _wave_um(s) * 1e-6))),
        ("gap_loss", "sinc_gap", lambda s: _db(gap_loss_db(_GAP_UM * 1e-6, _wave_um(s) * 1e-6))),
        (
            "azimuth_loss",
            "sinc_azimuth",
            lambda s: _db(azimuth_loss_db(_AZIMUTH_DEG, FOOTPRINT.track_width_m, _wave_um(s) * 1e-6)),
        ),
        ("control_period", "four_pitches", lambda _: _scaled(FOOTPRINT.control_period_m, "m")),
        (
            "sound_lead",
            "distance_over_speed",
            lambda _: f"{audio_delay_s(FOOTPRINT.tape_speed_m_per_s):.3f}\N{NO-BREAK SPACE}s",
        ),
    ]


def _db(value: object) -> str:
    return quantity(float(value), "dB")  # type: ignore[arg-type]  # one number out of an array of none but it


def _formulas() -> Page:
    values = {
        "guide": f"{_GUIDE_UM:g}",
        "spacing": f"{_SPACING_UM:g}",
        "gap": f"{_GAP_UM:g}",
        "azimuth": f"{_AZIMUTH_DEG:g}",
        "distance": f"{AUDIO_HEAD_DISTANCE_M * 1e3:.0f}",
    }
    rows = tuple(
        (
            typeset(say(f"formula.{name}", **values)),
            say(f"formula.{words}"),
            *(value(STANDARDS[standard]) for standard in _BOTH),
        )
        for name, words, value in _formula_rows()
    )
    return _page("formulas", [PageSection("", (*_columns("what", "formula"), *_BOTH), rows)])


def _range(spec: ControlSpec) -> str:
    if spec.kind == "switch":
        return f"{say('controls.on')}, {say('controls.off')}"
    if spec.kind == "choice":
        return ", ".join(spec.choices)
    return f"{setting(spec, spec.minimum)} {say('reference.to')} {setting(spec, spec.maximum)}"


def _controls() -> Page:
    sections = []
    for stage in STAGES.values():
        own = [spec for spec in CONTROLS.values() if spec.stage == stage.name]
        if own:
            rows = tuple(
                (typeset(spec.label), typeset(spec.description), typeset(_range(spec)), setting(spec, spec.default))
                for spec in own
            )
            title = say("reference.of_stage", title=stage.title, text=typeset(stage.description))
            sections.append(PageSection(title, _columns("control", "meaning", "range", "default"), rows))
    return _page("controls", sections)


def _readings() -> Page:
    sections = []
    for name, title in GROUPS.items():
        rows = tuple(
            (typeset(spec.label), typeset(spec.description), unit_sign(spec.unit), typeset(spec.needs))
            for spec in MEASUREMENTS.values()
            if spec.group == name
        )
        if rows:
            sections.append(PageSection(title, _columns("reading", "meaning", "unit", "needs"), rows))
    return _page("readings", sections)


def _cause_words(cause: Cause) -> str:
    return f"{cause.title} ({cause.group})"


def _symptoms(faults: Mapping[str, FaultSpec]) -> Page:
    chart = symptom_chart(faults)
    sections = []
    for view, title in VIEWS.items():
        rows = []
        for row in chart:
            if row.view != view:
                continue
            for place, cause in enumerate(row.causes):
                tell = " ".join(typeset(f"{other}: {words}") for other, words in cause.told_from)
                rows.append(
                    (
                        typeset(row.symptom) if place == 0 else say("reference.same", text=typeset(row.symptom)),
                        typeset(_cause_words(cause)),
                        typeset(" ".join(cause.proofs)),
                        tell,
                        typeset(cause.remedy),
                    )
                )
        if rows:
            sections.append(PageSection(title, _columns("symptom", "cause", "proof", "tell", "remedy"), tuple(rows)))
    return _page("symptoms", sections)


def _cautions(lessons: Mapping[str, Lesson]) -> Page:
    acts: dict[str, list[str]] = {}
    for act in ACTS.values():
        if act.caution:
            acts.setdefault(act.caution, []).append(act.title)
    rows = tuple((", ".join(titles), typeset(caution)) for caution, titles in acts.items())
    told: dict[str, list[str]] = {}
    for lesson in lessons.values():
        for caution in lesson.cautions:
            told.setdefault(caution, []).append(lesson.title)
    of_lessons = tuple((typeset(caution), "; ".join(map(typeset, titles))) for caution, titles in told.items())
    return _page(
        "cautions",
        [
            PageSection(say("reference.of_acts"), _columns("act", "caution"), rows),
            PageSection(say("reference.of_lessons"), _columns("caution", "lesson"), of_lessons),
        ],
    )
