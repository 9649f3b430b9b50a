"""``bandbench render`` as a person uses it: words in, files and messages out."""

from __future__ import annotations

import json
import subprocess
import sys
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from bandbench.command import main

# PUB ITU-R BT.470, SMPTE 170M: 525 lines a frame, 30 000/1001 frames a second, 4 x subcarrier = 910 samples a line.
LINES, SAMPLES = 525, 910
FRAME_RATE_HZ = 30_000 / 1001
SAMPLE_RATE_HZ = LINES * SAMPLES * FRAME_RATE_HZ

Arrays = dict[str, NDArray[Any]]


def render(folder: Path, *words: str) -> Arrays:
    """Run the command and return what its NPZ file holds."""
    path = folder / "frame.npz"
    assert main(["render", *words, "--out", str(path)]) == 0
    with np.load(path, allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


def message_of(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Run a command that must fail and return what it says."""
    assert main(["render", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("bandbench render: ")
    assert "Traceback" not in said.err
    return said.err


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Arrays:
    return render(tmp_path_factory.mktemp("plain"))


def test_npz_names_shapes_and_types(plain: Arrays) -> None:
    # The list of architecture.md, "bandbench render".
    for name in ("demod", "processed", "rf_envelope", "time_base_error_s"):
        assert plain[name].shape == (LINES, SAMPLES), name
        assert plain[name].dtype == np.float32, name
        assert np.isfinite(plain[name]).all(), name
    rows, columns = plain["picture"].shape
    # PUB SMPTE 170M: 483 to 486 lines of picture; 52.66 us of active line at 69.84 ns a sample is 754 samples.
    assert 483 <= rows <= 486
    assert abs(columns - 754) <= 3
    assert plain["picture"].min() >= 0.0
    assert plain["picture"].max() <= 1.0
    assert plain["head_of_line"].shape == (LINES,)
    assert set(plain["head_of_line"].tolist()) == {1, 2, 3, 4}
    assert float(plain["sample_rate_hz"]) == pytest.approx(SAMPLE_RATE_HZ, rel=1e-9)


def test_rows_start_at_the_reference_0h(plain: Arrays) -> None:
    # By definition sync falls through half its depth at 0H: -20 IRE (PUB SMPTE 170M: sync is 40 IRE deep).
    picture_lines = plain["processed"][30:250]
    assert np.median(picture_lines[:, 0]) == pytest.approx(-20.0, abs=4.0)
    assert np.median(picture_lines[:, 30]) == pytest.approx(-40.0, abs=1.0)
    assert np.median(picture_lines[:, -5]) == pytest.approx(0.0, abs=1.0)


def test_meta_names_every_input(tmp_path: Path) -> None:
    words = "--signal grid --set guide_position_um=12.5 --set channel_on_3=0 --fault guide_high=0.25 --fault noisy_rf"
    meta = json.loads(str(render(tmp_path, *words.split(), "--seed", "7", "--at", "1")["meta"]))
    inputs = meta["inputs"]
    assert inputs["standard"] == "525/60"
    assert inputs["practice"] == "525 high-band"
    assert inputs["tape"] == "programme"
    assert inputs["signal"] == "grid"
    assert inputs["controls"]["guide_position_um"] == 12.5
    assert inputs["controls"]["channel_on_3"] == 0.0
    assert inputs["controls"]["video_level_db"] == 0.0
    assert inputs["faults"] == [{"name": "guide_high", "severity": 0.25}, {"name": "noisy_rf", "severity": 1.0}]
    assert (inputs["seed"], inputs["at_s"]) == (7, 1.0)
    assert meta["units"]["demod"] == "IRE"
    assert meta["control_units"]["guide_position_um"] == "um"
    # Frame 29 plays from 0.968 s to 1.001 s.
    assert meta["frame_index"] == 29


@pytest.mark.parametrize(
    ("at", "index"),
    [("0", 0), ("0.0333", 0), ("0.033367", 1), ("0.0333666", 1), ("0.0667", 1), ("0.06674", 2), ("3600", 107_892)],
)
def test_at(tmp_path: Path, at: str, index: int) -> None:
    # DERIVED: the frame that plays at t is floor(t x 30 000/1001).
    assert json.loads(str(render(tmp_path, "--signal", "flat", "--at", at)["meta"]))["frame_index"] == index


def test_same_words_same_bytes(tmp_path: Path) -> None:
    words = ["render", "--seed", "3", "--at", "0.1", "--fault", "noisy_rf=0.5"]
    files = [tmp_path / name for name in ("a.npz", "a.png", "b.npz", "b.png")]
    assert main([*words, "--out", str(files[0]), "--out", str(files[1])]) == 0
    assert main([*words, "--out", str(files[2]), "--out", str(files[3])]) == 0
    assert files[0].read_bytes() == files[2].read_bytes()
    assert files[1].read_bytes() == files[3].read_bytes()


def test_seed_and_moment_change_the_noise_only(tmp_path: Path, plain: Arrays) -> None:
    for words in (["--seed", "1"], ["--at", "0.1"]):
        other = render(tmp_path, *words)
        difference = other["demod"] - plain["demod"]
        assert 0.0 < np.median(np.abs(difference)) < 2.0, words
        np.testing.assert_array_equal(other["head_of_line"], plain["head_of_line"])


def test_channel_off_takes_its_head_out(tmp_path: Path, plain: Arrays) -> None:
    off = render(tmp_path, "--set", "channel_on_2=0")
    np.testing.assert_array_equal(off["head_of_line"] == 0, plain["head_of_line"] == 2)
    # The rest of the row after the head is taken out: no RF there, full RF elsewhere.
    middle = off["rf_envelope"][:, 300:700]
    lost = middle[off["head_of_line"] == 0]
    kept = middle[off["head_of_line"] != 0]
    assert np.median(lost) < 0.1
    assert np.median(kept) > 0.8


def test_last_word_on_a_control_counts_and_faults_add_up(tmp_path: Path) -> None:
    twice = render(tmp_path, "--set", "guide_position_um=50", "--set", "guide_position_um=-10")
    once = render(tmp_path, "--set", "guide_position_um=-10")
    np.testing.assert_array_equal(twice["demod"], once["demod"])
    halves = render(tmp_path, "--fault", "guide_knocked=0.25", "--fault", "guide_knocked=0.25")
    whole = render(tmp_path, "--fault", "guide_knocked=0.5")
    np.testing.assert_array_equal(halves["time_base_error_s"], whole["time_base_error_s"])
    assert np.abs(whole["time_base_error_s"]).max() > 0.1e-6


def test_a_choice_is_set_by_its_word(tmp_path: Path) -> None:
    words = ("--signal", "flat", "--set", "guide_position_um=20", "--set")
    by_word = render(tmp_path, *words, "correction=monochrome")
    meta = json.loads(str(by_word["meta"]))
    number = meta["control_choices"]["correction"].index("monochrome")
    assert meta["inputs"]["controls"]["correction"] == number
    np.testing.assert_array_equal(render(tmp_path, *words, f"correction={number}")["processed"], by_word["processed"])
    assert not np.array_equal(render(tmp_path, *words, "correction=off")["processed"], by_word["processed"])


def test_625(tmp_path: Path) -> None:
    europe = render(tmp_path, "--standard", "625/50")
    meta = json.loads(str(europe["meta"]))
    # PUB ITU-R BT.470: 625 lines at 25 frames a second, levels in millivolts; TRADE 576 lines of picture.
    assert europe["demod"].shape[0] == 625
    assert europe["picture"].shape[0] in range(574, 578)
    assert float(europe["sample_rate_hz"]) == pytest.approx(625 * 25 * europe["demod"].shape[1])
    assert meta["units"]["demod"] == "mV"
    assert meta["inputs"]["practice"] == "625 high-band"
    assert np.median(europe["processed"][30:300, -5]) == pytest.approx(0.0, abs=7.0)


def test_practice_may_be_named(tmp_path: Path, plain: Arrays) -> None:
    named = render(tmp_path, "--standard", "525/60", "--practice", "525 high-band")
    np.testing.assert_array_equal(named["demod"], plain["demod"])
    other = render(tmp_path, "--practice", "525 low-band colour")
    assert json.loads(str(other["meta"]))["inputs"]["practice"] == "525 low-band colour"
    assert not np.array_equal(other["demod"], plain["demod"])


def test_tape(tmp_path: Path) -> None:
    meta = json.loads(str(render(tmp_path, "--tape", "alignment-525")["meta"]))
    assert meta["inputs"]["tape"] == "alignment-525"
    assert meta["inputs"]["signal"] == "grid"


def test_png_is_the_monitor_at_4_by_3(tmp_path: Path, plain: Arrays) -> None:
    path = tmp_path / "Frame.PNG"
    assert main(["render", "--out", str(path)]) == 0
    with Image.open(path) as image:
        assert image.mode == "L"
        assert image.width * 3 == image.height * 4
        shown = np.asarray(image, dtype=np.float64) / 255.0
    # Row by row the same brightness as the array: resampling goes along the lines only.
    np.testing.assert_allclose(shown.mean(axis=1), plain["picture"].mean(axis=1), atol=0.01)


# A person's own pictures --------------------------------------------------------------------------------------


def save_picture(path: Path, mode: str, **options: Any) -> Path:
    """Save a 4:3 picture, left half black, right half white."""
    grey = np.zeros((240, 320), dtype=np.uint8)
    grey[:, 160:] = 255
    image = Image.fromarray(grey)
    if mode == "I;16":
        image = Image.fromarray(grey.astype(np.uint16) * 257)
    elif mode == "LA":
        # All white; what is transparent shows black.
        image = Image.merge("LA", (Image.new("L", image.size, 255), image))
    else:
        image = image.convert(mode)
    image.save(path, **options)
    return path


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        ("grey.png", "L"),
        ("colour.png", "RGB"),
        ("palette.png", "P"),
        ("bilevel.png", "1"),
        ("deep.png", "I;16"),
        ("transparent.png", "LA"),
        ("photo.jpg", "RGB"),
        ("print.jpg", "CMYK"),
        ("web.webp", "RGB"),
        ("animation.gif", "P"),
        ("bitmap.bmp", "RGB"),
    ],
)
def test_picture_kinds(tmp_path: Path, name: str, mode: str) -> None:
    shown = render(tmp_path, "--signal", str(save_picture(tmp_path / name, mode)))
    rows, columns = shown["picture"].shape
    assert np.median(shown["picture"][:, columns // 8 : columns * 3 // 8]) < 0.05
    assert np.median(shown["picture"][:, columns * 5 // 8 : columns * 7 // 8]) > 0.95
    signal = json.loads(str(shown["meta"]))["inputs"]["signal"]
    assert signal["picture"] == name
    assert len(signal["sha256"]) == 64
    assert rows in range(483, 487)


def test_picture_is_turned_as_its_camera_says(tmp_path: Path) -> None:
    exif = Image.Exif()
    # PUB Exif 2.3: orientation 6 = the right side of the stored picture is shown at the bottom.
    exif[0x0112] = 6
    path = save_picture(tmp_path / "turned.jpg", "RGB", exif=exif)
    shown = render(tmp_path, "--signal", str(path))["picture"]
    middle = shown[:, shown.shape[1] // 2 - 40 : shown.shape[1] // 2 + 40]
    assert np.median(middle[60:180]) < 0.05
    assert np.median(middle[300:420]) > 0.95


def test_colour_becomes_its_luma(tmp_path: Path) -> None:
    path = tmp_path / "green.png"
    Image.new("RGB", (320, 240), (0, 255, 0)).save(path)
    # PUB ITU-R BT.601: luma of full green is 0.587.
    assert np.median(render(tmp_path, "--signal", str(path))["picture"]) == pytest.approx(0.587, abs=0.01)


def broken_pictures(folder: Path) -> dict[str, str]:
    """Make files that are no good pictures; for each, what the message must say besides its name."""
    whole = BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (64, 64), dtype=np.uint8)
    Image.fromarray(noise).save(whole, "PNG")
    png = whole.getvalue()
    (folder / "empty.png").write_bytes(b"")
    (folder / "text.png").write_text("no picture at all\n")
    (folder / "cut.png").write_bytes(png[: len(png) // 2])
    damaged = bytearray(png)
    damaged[len(png) // 2] ^= 0xFF
    (folder / "damaged.png").write_bytes(damaged)
    (folder / "header.png").write_bytes(png[:20])
    Image.new("L", (1, 1)).save(folder / "dot.png")
    Image.new("1", (12_000, 12_000)).save(folder / "huge.png")
    (folder / "folder.png").mkdir()
    return {
        "empty.png": "not a whole picture",
        "text.png": "not a whole picture",
        "cut.png": "not a whole picture",
        "damaged.png": "not a whole picture",
        "header.png": "not a whole picture",
        "dot.png": "at least 2",
        "huge.png": "too large",
        "folder.png": "cannot be read",
        "absent.png": "neither a test signal ('bars', ",
    }


def test_bad_pictures_are_told_and_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out.npz"
    for name, expected in broken_pictures(tmp_path).items():
        said = message_of(capsys, "--signal", str(tmp_path / name), "--out", str(out))
        assert expected in said, name
        assert not out.exists(), name


# What cannot be done ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ("--standard 405/50", ["405/50", "525/60"]),
        ("--practice none", ["'none'", "525 high-band"]),
        ("--tape none", ["'none'", "alignment-525"]),
        ("--signal none", ["none", "multiburst"]),
        ("--set guide_position_um", ["guide_position_um", "CONTROL=VALUE"]),
        ("--set =3", ["unknown control ''"]),
        ("--set guide_position=3", ["'guide_position'", "guide_position_um"]),
        ("--set guide_position_um=", ["''", "not a number"]),
        ("--set guide_position_um=1e9", ["guide_position_um", "range"]),
        ("--set guide_position_um=nan", ["guide_position_um", "finite"]),
        ("--set correction=perfect", ["'perfect'", "'monochrome'"]),
        ("--set channel_on_1=0.5", ["channel_on_1", "0 (off)"]),
        ("--fault gremlin", ["'gremlin'", "guide_knocked"]),
        ("--fault guide_knocked=2", ["guide_knocked", "0 to 1"]),
        ("--fault guide_knocked=", ["''", "0 to 1"]),
        ("--seed -1", ["--seed -1", "whole number"]),
        ("--seed 1.5", ["--seed 1.5", "whole number"]),
        ("--seed 99999999999999999999", ["--seed 9999", "4294967295"]),
        ("--seed " + 5000 * "9", ["--seed 9999", "whole number"]),
        ("--at -1", ["--at -1", "seconds"]),
        ("--at 1e308", ["--at 1e308", "0 to 1000000.0"]),
        ("--practice ", ["recording practice ''"]),
        ("--at inf", ["--at inf", "seconds"]),
        ("--at nan", ["--at nan", "seconds"]),
        ("--out frame.jpg", ["frame.jpg", ".npz or .png"]),
        ("--out nowhere/frame.png", ["nowhere", "no folder"]),
    ],
)
def test_bad_values(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: str,
    parts: list[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    # An equals sign, as argparse takes a word that begins with a minus for an option of its own.
    option, _, value = words.partition(" ")
    said = message_of(capsys, f"{option}={value}", "--out", "frame.npz")
    for part in parts:
        assert part in said
    assert not Path("frame.npz").exists()


def test_unwritable_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken.png").mkdir()
    assert "cannot be written" in message_of(capsys, "--out", str(tmp_path / "taken.png"))


def test_out_is_required(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["render"])
    assert stop.value.code == 2
    assert "--out" in capsys.readouterr().err


# The command as installed -------------------------------------------------------------------------------------


def test_help_is_quick_and_names_everything(capsys: pytest.CaptureFixture[str]) -> None:
    heavy = "import sys, bandbench.command as c\ntry: c.main(['--help'])\nfinally: print('numpy' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", heavy], capture_output=True, text=True)
    for name in ("serve", "build", "render", "lessons"):
        assert f"    {name}" in said.stdout
    assert said.stdout.splitlines()[-1] == "False"
    with pytest.raises(SystemExit):
        main(["render", "--help"])
    helped = capsys.readouterr().out
    for name in ("guide_position_um", "multiburst", "clogged_head_4", "525 high-band", "alignment-525"):
        assert name in helped


def test_installed_command(tmp_path: Path) -> None:
    command = Path(sys.executable).with_name("bandbench")
    path = tmp_path / "frame.png"
    said = subprocess.run([command, "render", "--out", path], capture_output=True, text=True, cwd=tmp_path)
    assert (said.returncode, said.stderr) == (0, "")
    assert path.stat().st_size > 1000
    failed = subprocess.run([command, "render", "--signal", "x", "--out", path], capture_output=True, text=True)
    assert failed.returncode == 2
    assert failed.stderr.startswith("bandbench render: --signal x")


def test_colour_correction_writes_the_colour_monitor(tmp_path: Path) -> None:
    archive, shown = tmp_path / "bars.npz", tmp_path / "bars.png"
    words = ["render", "--signal", "bars", "--set", "correction=colour", "--out", str(archive), "--out", str(shown)]
    assert main(words) == 0
    with np.load(archive) as arrays:
        colour = arrays["colour"]
        assert colour.shape == (*arrays["picture"].shape, 3)
        assert json.loads(str(arrays["meta"]))["units"]["colour"]
    # RS-189-A, 75 % (from memory): the middle of the third bar is cyan, of the sixth red.
    for place, wanted in ((2.5, (0.0, 0.75, 0.75)), (5.5, (0.75, 0.0, 0.0))):
        column = round(place / 7 * colour.shape[1])
        measured = colour[100:200, column - 8 : column + 8].mean(axis=(0, 1))
        np.testing.assert_allclose(measured, wanted, atol=0.03)
    with Image.open(shown) as image:
        assert image.mode == "RGB"
        assert image.size[0] * 3 == image.size[1] * 4
