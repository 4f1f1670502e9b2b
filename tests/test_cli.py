"""The command line: what a person gets to see, what a script can go by, and that wrong input touches nothing."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import surefoot
from surefoot.cli import main
from surefoot.clip_file import load_clip
from surefoot.curves import Pack

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demos" / "data" / "lamplighter.json"
RIG = (ROOT / "rigs" / "lamplighter.toml").read_text(encoding="utf-8")
Table = dict[str, Any]


def table() -> Table:
    data: Table = json.loads(DEMO.read_text(encoding="utf-8"))
    return data


@pytest.fixture
def walk(tmp_path: Path) -> Path:
    path = tmp_path / "walk.json"
    path.write_bytes(DEMO.read_bytes())
    return path


def write(path: Path, data: Table) -> Path:
    path.write_text(json.dumps(data), encoding="utf-8")
    return path


def refused(capsys: pytest.CaptureFixture[str], *argv: str | Path) -> str:
    """Run a command that must be refused; return its one sentence."""
    assert main([str(word) for word in argv]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("surefoot: ")
    assert err.endswith("\n")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err.removeprefix("surefoot: ").strip()


def shown(capsys: pytest.CaptureFixture[str], *argv: str | Path, status: int) -> str:
    """Run a command that works and return what it prints; nothing may go to the error stream."""
    assert main([str(word) for word in argv]) == status
    out, err = capsys.readouterr()
    assert err == ""
    return out


# --- what is shown --------------------------------------------------------------------------------


def test_check_tells_what_is_wrong_where_and_by_how_much(capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, "check", "lamplighter", status=1)
    lines = out.splitlines()
    assert lines[0].split() == ["finding", "where", "frames", "worst", "at", "amount", "beyond", "level"]
    clip, rig = surefoot.demo()
    report = surefoot.check(clip, rig)
    rows = lines[1 : 1 + len(report.findings)]
    for row, finding in zip(rows, report.findings, strict=True):
        assert row.startswith(finding.kind)
        assert row.endswith(finding.level)
        assert f"{finding.worst:g}" in row.split()
    assert "lamplighter walks: frames 1 to 24 at 24 a second, a loop" in lines
    assert "ground: moves at 1.350 m/s towards -Z" in lines
    assert "stances (found): left 1-15; right 13-27" in lines
    assert "frames beyond 24 are the next round: 25 is 1 again" in lines
    counts = {level: sum(f.level == level for f in report.findings) for level in ("error", "warning", "note")}
    told = ", ".join(f"{n} {level}{'s' if n > 1 else ''}" for level, n in counts.items() if n)
    assert lines[-1] == told


def test_tables_are_plain_text_when_piped() -> None:
    done = run("check", "lamplighter")
    assert done.returncode == 1
    assert done.stderr == ""
    assert "\x1b" not in done.stdout
    assert all(c.isprintable() or c == "\n" for c in done.stdout)
    assert max(map(len, done.stdout.splitlines())) < 110


def test_many_stances_go_on_over_lines_that_fit(capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, "plant", "lamplighter", "--loops", "12", status=0)
    assert "stances: left 1-15, 25-39, " in out
    assert max(map(len, out.splitlines())) <= 100


def test_a_terminal_gets_the_same_cells_and_names_are_no_markup(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    data = table()
    data["channels"]["[bold]prop"] = {"keys": [[1, 0], [25, 40]]}
    path = write(tmp_path / "w.json", data)
    plain = shown(capsys, "check", path, status=1)
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    rich = shown(capsys, "check", path, status=1)
    assert "[bold]prop" in plain
    assert [line.split() for line in rich.splitlines()] == [line.split() for line in plain.splitlines()]


def test_a_clean_clip_exits_with_0_and_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, "plant", DEMO, "-o", tmp_path / "planted.json", status=0)
    assert f"written: {tmp_path / 'planted.json'}" in out
    wide = [f"--tolerance={kind}=1m" for kind in ("slide", "sink", "hover", "stretch", "seam", "cross")]
    wide += ["--tolerance=snap=1000000deg", "--tolerance=limit=200deg"]
    out = shown(capsys, "check", tmp_path / "planted.json", *wide, status=0)
    assert "clean: nothing beyond tolerance" in out.splitlines()


def test_notes_alone_exit_with_0_and_warnings_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    planted = tmp_path / "planted.json"
    shown(capsys, "plant", DEMO, "-o", planted, "--json", status=0)
    report = json.loads(shown(capsys, "check", planted, "--json", status=0))
    assert report["worst"] in ("note", "clean")
    tight = json.loads(shown(capsys, "check", planted, "--tolerance", "sink=0.01mm", "--json", status=1))
    assert tight["worst"] in ("warning", "error")


def test_a_stated_tolerance_moves_note_and_error_with_it(capsys: pytest.CaptureFixture[str]) -> None:
    out = json.loads(shown(capsys, "check", "lamplighter", "--tolerance", "slide=10mm", "--json", status=1))
    slides = [f["tolerance"] for f in out["findings"] if f["kind"] == "slide" and f["level"] == "error"]
    assert slides == pytest.approx([40.0, 40.0])


def test_plant_shows_before_and_after_and_what_moved(walk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, "plant", walk, status=0)
    lines = out.splitlines()
    assert lines[0].split() == ["finding", "before", "worst", "after", "worst"]
    slide = next(line for line in lines if line.startswith("slide"))
    assert re.match(r"slide +error: 2 +\d+ mm \(left, frame [\d.]+\) +-$", slide)
    assert any(re.fullmatch(r"ankles moved: left [\d.]+ mm rms, [\d.]+ mm at most; right .*", line) for line in lines)
    assert any(re.fullmatch(r"channels written: \d+ of 26; the others are untouched", line) for line in lines)
    assert lines[-1] == "nothing written; name a file with -o to keep the result"
    assert [p.name for p in walk.parent.iterdir()] == ["walk.json"]


FINDING = {"kind", "foot", "part", "first", "last", "worst", "amount", "unit", "tolerance", "level", "advice"}
REPORT = {"worst", "belt", "stances", "findings"}


def check_report(report: Table) -> None:
    assert set(report["belt"]) == {"velocity", "turn", "unit"}
    for stance in report["stances"]:
        assert set(stance) == {"foot", "first", "last", "left_alone"}
    for finding in report["findings"]:
        assert set(finding) == FINDING
        assert finding["amount"] > finding["tolerance"] >= 0.0
        assert finding["level"] in ("note", "warning", "error")


def test_check_prints_json_with_the_documented_fields(capsys: pytest.CaptureFixture[str]) -> None:
    report = json.loads(shown(capsys, "check", "lamplighter", "--json", status=1))
    assert set(report) == {"clip", "cautions"} | REPORT
    assert report["findings"]
    check_report(report)
    clip, rig = surefoot.demo()
    amounts = [finding.shown for finding in surefoot.check(clip, rig).findings]
    assert [f["amount"] for f in report["findings"]] == amounts


def test_plant_prints_json_with_the_documented_fields(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "planted.json"
    report = json.loads(shown(capsys, "plant", "lamplighter", "-o", out, "--json", status=0))
    told = {"clip", "changed", "keys", "footprints", "before", "after", "written", "knees_turned_deg", "cautions"}
    assert set(report) == told
    assert report["written"] == [str(out)]
    assert len(report["footprints"]) == 2
    for print_ in report["footprints"]:
        assert set(print_) == {"foot", "first", "last", "place", "yaw", "unit"}
    for name in ("before", "after"):
        assert set(report[name]) == REPORT
        check_report(report[name])


def test_names_that_would_steer_a_terminal_are_shown_harmlessly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "w.json", table() | {"name": "\x1b[31mred\nline"})
    assert "?[31mred?line: frames 1 to 24" in shown(capsys, "check", path, status=1)
    path = write(tmp_path / "w.json", table() | {"rig": "\x1b[31m\n"})
    assert "\x1b" not in refused(capsys, "check", path)


def test_a_name_that_the_terminal_cannot_spell_does_no_harm(tmp_path: Path) -> None:
    path = write(tmp_path / "w.json", table() | {"name": "Läufer 走"})
    done = run("check", str(path), encoding="ascii")
    assert done.returncode == 1
    assert "L\\xe4ufer" in done.stdout


# --- planting to a file ---------------------------------------------------------------------------


def test_untouched_channels_pass_through_bit_for_bit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = table()
    data["channels"]["prop.glow"] = {
        "keys": [[-3.25, 0.1, "step"], [2, -0.0, "bezier", [-1, 0.3], [0.7, 1e-9]], [9, 5, "given", 0.1, -0.2]],
        "after": "advance",
        "locked": True,
    }
    data["extra"] |= {"deep": [{"a": None}, "é"]}
    path, out = write(tmp_path / "w.json", data), tmp_path / "out.json"
    report = json.loads(shown(capsys, "plant", path, "-o", out, "--json", status=0))
    before, after = load_clip(path), load_clip(out)
    assert list(before.channels) == list(after.channels)
    assert report["changed"]
    for name, curve in before.channels.items():
        kept = after.channels[name]
        if name in report["changed"]:
            assert name.startswith(("left_foot.", "right_foot."))
            continue
        for field in ("frames", "values", "shapes", "slope_in", "slope_out"):
            assert getattr(curve, field).tobytes() == getattr(kept, field).tobytes(), (name, field)
        assert (curve.before, curve.after) == (kept.before, kept.after)
        assert (curve.handles is None) == (kept.handles is None)
        if curve.handles is not None and kept.handles is not None:
            assert curve.handles.tobytes() == kept.handles.tobytes()
    assert "prop.glow" not in report["changed"]
    assert (after.extra, after.locked) == (before.extra, before.locked)
    for field in ("name", "rig", "unit", "angle", "rate", "first", "last", "loop"):
        assert getattr(before, field) == getattr(after, field), field


def test_the_written_layer_added_to_the_clip_is_the_written_output(
    walk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, layer_path = walk.with_name("out.json"), walk.with_name("layer.json")
    shown(capsys, "plant", walk, "-o", out, "--layer", layer_path, status=0)
    before, after, layer = load_clip(walk), load_clip(out), load_clip(layer_path)
    frames = np.concatenate([np.arange(1.0, 26.0), np.random.default_rng(0).uniform(1, 25, 2000)])
    changed = 0
    for name, curve in after.channels.items():
        parts = [clip.channels[name] for clip in (before, layer) if name in clip.channels]
        total = Pack.from_curves(parts).evaluate(frames).sum(axis=0)
        np.testing.assert_allclose(total, Pack.from_curves([curve]).evaluate(frames)[0], atol=1e-9, rtol=0)
        changed += name in layer.channels
    assert changed == len(layer.channels) > 0


def test_the_output_may_replace_the_input(walk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown(capsys, "plant", walk, "-o", walk, status=0)
    assert load_clip(walk).stances is not None
    assert [p.name for p in walk.parent.iterdir()] == ["walk.json"]


def test_a_clip_without_a_unit_can_be_planted_and_checked_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = table()
    del data["unit"], data["belt"]
    path, out = write(tmp_path / "w.json", data), tmp_path / "out.json"
    shown(capsys, "plant", path, "-o", out, "--belt", "1.35", status=0)
    shown(capsys, "check", out, status=0)


def test_a_rig_beside_the_clip_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.toml").write_text(RIG, encoding="utf-8")
    path = write(tmp_path / "w.json", table() | {"rig": "mine.toml"})
    shown(capsys, "check", path, status=1)


@pytest.mark.parametrize(
    "words",
    [
        ("--belt", "1.35"),
        ("--belt", "0,0,-1.35"),
        ("--belt", "-0.1,0,-1.35"),
        ("--belt", "still"),
        ("--belt", "estimate"),
        ("--stances", "find"),
        ("--stances", "left=1-15", "--stances", "right_foot=13-27"),
        ("--stances", "left=", "--stances", "right="),
        ("--leave", "left", "1-15"),
        ("--leave", "right", "2"),
        ("--tolerance", "slide=2mm"),
        ("--tolerance", "limit=3 deg"),
        ("--tolerance", "snap=9000deg/s2"),
        ("--landing", "0.04"),
        ("--rig", "lamplighter"),
    ],
)
def test_every_option_of_check_is_taken(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    json.loads(shown(capsys, "check", "lamplighter", *words, "--json", status=1))


@pytest.mark.parametrize(
    "words",
    [
        ("--anchor", "fit"),
        ("--anchor", "contact"),
        ("--anchor", "frame:7"),
        ("--clearance", "10mm"),
        ("--leave-below", "0"),
        ("--leave-below", "1mm"),
        ("--before", str(DEMO)),
    ],
)
def test_every_option_of_plant_is_taken(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", "lamplighter", *words, "--json"]) in (0, 1)
    out, err = capsys.readouterr()
    assert err == ""
    assert json.loads(out)["clip"] == "lamplighter walks"


def test_a_stance_over_the_seam_is_left_alone_from_either_side(capsys: pytest.CaptureFixture[str]) -> None:
    for frames in ("2-3", "26-27", "14", "20-30"):
        report = json.loads(shown(capsys, "check", "lamplighter", "--leave", "right", frames, "--json", status=1))
        assert [s["foot"] for s in report["stances"] if s["left_alone"]] == ["right"], frames
        assert not [f for f in report["findings"] if f["kind"] == "slide" and f["foot"] == "right"]


# --- wrong input ----------------------------------------------------------------------------------


def keys(data: Table, name: str) -> list[Any]:
    found: list[Any] = data["channels"][name]["keys"]
    return found


def shift_whole_turn(data: Table) -> None:
    for key in keys(data, "left_foot.pitch")[5:]:
        key[1] += 360


def z_up(data: Table) -> None:
    channels = data["channels"]
    for part in ("hips", "left_foot", "right_foot"):
        channels[f"{part}.y"], channels[f"{part}.z"] = channels[f"{part}.z"], channels[f"{part}.y"]


def in_metres(data: Table) -> None:
    del data["unit"], data["belt"]
    for name in data["channels"]:
        if name.endswith((".x", ".y", ".z")):
            for key in keys(data, name):
                key[1] /= 100


def in_millimetres(data: Table) -> None:
    del data["unit"], data["belt"]
    for name in data["channels"]:
        if name.endswith((".x", ".y", ".z")):
            for key in keys(data, name):
                key[1] *= 10


def swap_sides(data: Table) -> None:
    for side, sign in (("left", -1), ("right", 1)):
        for key in keys(data, f"{side}_foot.x"):
            key[1] += sign * 20


def upside_down(data: Table) -> None:
    for key in keys(data, "hips.y"):
        key[1] = -100


def state(**fields: Any) -> Callable[[Table], None]:
    return lambda data: data.update(fields)


CLIP_FAULTS: list[tuple[Callable[[Table], Any], str]] = [
    (
        lambda d: d["channels"].update({"left_foot.pich": d["channels"].pop("left_foot.pitch")}),
        "control left_foot, pitch: no channel is called 'left_foot.pitch'; did you mean 'left_foot.pich'?",
    ),
    (state(rig="lampligter"), "$.rig: no rig is called 'lampligter'; did you mean 'lamplighter'?"),
    (state(rig=""), "the clip names no rig; give one with --rig"),
    (state(channels={}), "channels: the clip is empty: it has no channels"),
    (lambda d: keys(d, "hips.y").clear(), '$.channels["hips.y"].keys: wanted at least 1 in the list, got none'),
    (lambda d: keys(d, "hips.y").reverse(), "keys go in order of frame"),
    (lambda d: keys(d, "hips.y").insert(1, [1, 3]), "one frame has one key"),
    (state(rate=0), "$.rate: a frame rate runs from 0.01 to 100000 frames per second, got 0.0"),
    (state(rate=-24), "$.rate: a frame rate runs from"),
    (state(range={"first": 1, "last": 10**9}), "range: 1000000000 frames"),
    (shift_whole_turn, "channel left_foot.pitch: it jumps by 380 degrees from frame 13 to 15, about a whole turn"),
    (state(stances={"left": [{"first": 9, "last": 1}]}), "$.stances.left[0]: runs backwards, from frame 9 to 1"),
    (
        state(stances={"left": [{"first": 1, "last": 9}, {"first": 8, "last": 12}]}),
        "stances of the left foot: frames 1 to 9 and 8 to 12 overlap",
    ),
    (state(unit="m"), "clip.unit: the clip states lengths in m, but the rig reads hips.x in another unit"),
    (in_metres, "are the clip's unit and the rig's the same, and the hips where they should be?"),
    (in_millimetres, "are the clip's unit and the rig's the same, and the hips where they should be?"),
    (z_up, "is the clip Z-up? Surefoot reads +Y up"),
    (swap_sides, "are left and right swapped?"),
    (upside_down, "the feet are above the hips; is the up axis turned over?"),
    (
        lambda d: keys(d, "hips.y").__setitem__(1, [4, 88, "bezier", [1, 0], [1, 0]]),
        "the in handle runs backwards in time",
    ),
]


@pytest.mark.parametrize(("change", "says"), CLIP_FAULTS, ids=[says[:40] for _, says in CLIP_FAULTS])
def test_a_wrong_clip_is_told_by_its_file_and_place_and_nothing_is_written(
    change: Callable[[Table], Any], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = table()
    change(data)
    path, out, layer = write(tmp_path / "w.json", data), tmp_path / "out.json", tmp_path / "layer.json"
    out.write_text("older")
    told = refused(capsys, "plant", path, "-o", out, "--layer", layer)
    assert told.startswith(f"{path}: ")
    assert says in told
    assert out.read_text() == "older"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.json", "w.json"]
    assert refused(capsys, "check", path) == told


def test_a_cycle_that_turns_a_whole_round_is_taken_with_a_key_half_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = table()
    data["channels"]["hips.yaw"] = {"keys": [[1, -6], [25, 354]], "after": "advance"}
    assert "jumps by 360 degrees" in refused(capsys, "check", write(tmp_path / "w.json", data))
    keys(data, "hips.yaw").insert(1, [13, 174])
    assert main(["check", str(write(tmp_path / "w.json", data))]) in (0, 1)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hello", "line 1, column 1: not JSON"),
        ("", "the file is empty"),
        ("[]", "wanted a table, got a list"),
        ("[" * 100_000, "nested too deeply"),
        ('{"extra":' + '{"a":' * 100_000, "nested too deeply"),
        (json.dumps(table()).replace("89.6", "NaN", 1), '$.channels["hips.y"].keys[0][1]: wanted a finite number'),
        (json.dumps(table()).replace("89.6", "1e999", 1), '$.channels["hips.y"].keys[0][1]: wanted a finite number'),
        (json.dumps(table()).replace("89.6", "1e300", 1), "key 1 at frame 1: 1e+300 is too large"),
    ],
    ids=range(8),
)
def test_a_file_that_is_no_clip_is_refused(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "w.json"
    path.write_text(text, encoding="utf-8")
    assert says in refused(capsys, "check", path)


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert refused(capsys, "check", tmp_path / "none.json").endswith("can't be read: No such file or directory")
    assert refused(capsys, "check", tmp_path).endswith("can't be read: Is a directory")
    (tmp_path / "wide.json").write_text("{}", encoding="utf-16")
    assert "not a text in UTF-8" in refused(capsys, "check", tmp_path / "wide.json")
    assert "wanted a clip's file or the name of a demo" in refused(capsys, "check", "")
    assert "wanted a clip's file" in refused(capsys, "check", "a\0b")
    told = refused(capsys, "check", "lampligter")
    assert told == "no file or demo is called 'lampligter'; did you mean 'lamplighter'?"


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read anything")
def test_a_file_that_may_not_be_read_is_refused(walk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    walk.chmod(0)
    assert "Permission denied" in refused(capsys, "check", walk)


RIG_FAULTS = [
    ("thigh = 43.5", "thigh = 0", "leg.thigh: a bone needs a length above 0, got 0"),
    ("-8.5, -6.0]", "-8.5, 26.0]", "leg.foot: heel, ball and toe must follow one another forward"),
    ("heel = 6.6", "heel = -6.6", "leg.foot.widths.heel: wanted a width of 0 or more, got -6.6"),
    ("heel = 6.6\nball = 9.8\ntoe = 6.4", "heel = 0\nball = 0\ntoe = 0", "the outline encloses no area"),
    ('"cm"', '"m"', "a leg of 86.5 m; is the unit right?"),
    ('"cm"', '"centimetre"', "unit: no length unit is called 'centimetre'; known are cm"),
]


@pytest.mark.parametrize(("old", "new", "says"), RIG_FAULTS, ids=[says[:30] for _, _, says in RIG_FAULTS])
def test_a_wrong_rig_is_told_by_its_file_and_place(
    old: str, new: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in RIG
    path = tmp_path / "r.toml"
    path.write_text(RIG.replace(old, new), encoding="utf-8")
    told = refused(capsys, "check", "lamplighter", "--rig", path)
    assert told.startswith(f"{path}: ")
    assert says in told


CONTROLS = "".join(
    f"[controls.{name}]\n{extra}" + "".join(f'{axis} = "{name}.{axis}"\n' for axis in axes)
    for name, extra, axes in (
        ("hips", "HIPS", ("x", "y", "z", "pitch", "yaw", "roll")),
        ("left_foot", "FEET", ("x", "y", "z", "pitch", "yaw", "cant", "bend")),
        ("right_foot", "FEET", ("x", "y", "z", "pitch", "yaw", "cant", "bend")),
    )
)


@pytest.mark.parametrize(
    ("hips", "feet", "says"),
    [
        ('parent = "wrold"\n', "", "control hips: no parent is called 'wrold'; did you mean 'world'?"),
        ('order = "xyy"\n', "", "control hips.order: rotation order 'xyy' does not exist; use one of xyz, xzy, yxz"),
        (
            'parent = "left_foot"\n',
            'parent = "hips"\n',
            "control hips: parents run in a circle: hips > left_foot > hips",
        ),
    ],
)
def test_a_rig_whose_spaces_make_no_sense_is_refused(
    hips: str, feet: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "r.toml"
    path.write_text(RIG + CONTROLS.replace("HIPS", hips).replace("FEET", feet), encoding="utf-8")
    assert says in refused(capsys, "check", "lamplighter", "--rig", path)


def test_ground_above_the_hips_is_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ground = tmp_path / "g.toml"
    ground.write_text('surefoot = "ground/1"\nunit = "m"\nkind = "flat"\nheight = 5\n')
    told = refused(capsys, "check", "lamplighter", "--ground", ground)
    assert "it lies above the hips in every frame; are the clip and the ground in one space and unit?" in told


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--tolerance", "slide"), "--tolerance: wanted a kind and an amount, such as slide=2mm, got 'slide'"),
        (("--tolerance", "slid=2mm"), "--tolerance: no kind of finding is called 'slid'; did you mean 'slide'?"),
        (("--tolerance", "slide=2"), "--tolerance slide: wanted an amount in m, cm, mm, in, ft, such as 2mm, got '2'"),
        (("--tolerance", "slide=2deg"), "--tolerance slide: wanted an amount in m, cm, mm, in, ft"),
        (("--tolerance", "limit=2mm"), "--tolerance limit: wanted an amount in rad, deg, such as 3deg, got '2mm'"),
        (("--tolerance", "slide=-2mm"), "--tolerance slide: a tolerance must be above 0, got '-2mm'"),
        (("--tolerance", "slide=0mm"), "--tolerance slide: a tolerance must be above 0"),
        (("--tolerance", "slide=nanmm"), "--tolerance slide: wanted a number with its unit"),
        (("--tolerance", "slide=2e999mm"), "--tolerance slide: wanted a number with its unit"),
        (("--belt", "fast"), "--belt: wanted metres a second, as 1.35 or x,y,z; or still; or estimate; got 'fast'"),
        (("--belt", "1,2"), "--belt: wanted metres a second"),
        (("--belt", "nan"), "--belt: wanted metres a second"),
        (("--belt", "1e999"), "--belt: wanted metres a second"),
        (("--belt", ""), "--belt: wanted metres a second"),
        (("--belt", "5000"), "--belt: faster than 1000 m/s"),
        (("--stances", "left"), "--stances: wanted a foot and frames, such as left=1-15, or find, got 'left'"),
        (("--stances", "lft=1-3"), "--stances: no foot is called 'lft'; did you mean 'left'?"),
        (("--stances", "left=1-3"), "--stances: state the right foot's too; the clip states none"),
        (("--stances", "left=5-3"), "--stances: frames 5 to 3 run backwards"),
        (("--stances", "left=a-b"), "--stances: wanted frames such as 10-14, got 'a-b'"),
        (("--stances", "left=1-9,5-12", "--stances", "right="), "frames 1 to 9 and 5 to 12 overlap"),
        (("--stances", "left=40-50", "--stances", "right="), "frames 40 to 50 lie outside 1 to 24"),
        (("--stances", f"left={'9' * 5000}"), "--stances: wanted frames such as 10-14"),
        (("--stances", "find", "--stances", "left=1-3"), "--stances: find stands alone"),
        (("--stances", "left=1-3", "--stances", "left=5-7"), "--stances: the left foot is given twice"),
        (("--leave", "left", "x"), "--leave: wanted frames such as 10-14, got 'x'"),
        (("--leave", "lef", "1-3"), "--leave: no foot is called 'lef'; did you mean 'left'?"),
        (("--leave", "left", "9-3"), "--leave: frames 9 to 3 run backwards"),
        (("--leave", "left", "17-18"), "--leave: the left foot has no stance in frames 17 to 18; its stances are 1-15"),
        (("--leave", "left"), "--leave: wanted 2 values after it"),
        (("--landing", "2"), "--landing: wanted seconds from 0 to 1, got 2"),
        (("--landing", "-1"), "--landing: wanted seconds from 0 to 1, got -1"),
        (("--landing", "nan"), "--landing: wanted seconds from 0 to 1, got nan"),
        (("--landing", "soon"), "--landing: wanted a number, got 'soon'"),
        (("--rig", "lampligter"), "--rig: no rig is called 'lampligter'; did you mean 'lamplighter'?"),
        (("--rig", "none.toml"), "none.toml: can't be read: No such file or directory"),
        (("--rig", ""), "--rig: no rig is called ''"),
        (("--ground", "none.toml"), "none.toml: "),
        (("--tol", "slide=2mm"), "has no option --tol; did you mean --tolerance?"),
    ],
)
def test_a_wrong_option_is_told_by_its_name(
    words: tuple[str, ...], says: str, walk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert says in refused(capsys, "check", walk, *words)
    assert says in refused(capsys, "plant", walk, *words, "-o", walk)
    assert walk.read_bytes() == DEMO.read_bytes()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--anchor", "flt"), "--anchor: wanted flat, contact, fit or frame:N, got 'flt'"),
        (("--anchor", "frame:"), "--anchor: wanted flat, contact, fit or frame:N"),
        (("--anchor", "frame:--7"), "--anchor: wanted flat, contact, fit or frame:N"),
        (("--anchor", "frame:²"), "--anchor: wanted flat, contact, fit or frame:N"),
        (("--anchor", "frame:700"), "--anchor: frame 700 lies outside the clip's 1 to 24"),
        (("--clearance", "10"), "--clearance: wanted a length with its unit, such as 10mm, got '10'"),
        (("--clearance", "10km"), "--clearance: no length unit is called 'km'; did you mean 'm'?"),
        (("--clearance", "-1mm"), "--clearance: wanted a length from 0 to 10 m, got '-1mm'"),
        (("--clearance", "11m"), "--clearance: wanted a length from 0 to 10 m, got '11m'"),
        (("--clearance", "high"), "--clearance: wanted a number with its unit, such as 10mm, got 'high'"),
        (("--leave-below", "1"), "--leave-below: wanted a length with its unit"),
        (("--leave-below", "2m"), "--leave-below: wanted a length from 0 to 1 m"),
        (("--before", "none.json"), "none.json: can't be read: No such file or directory"),
        (("--before", "treadmill"), "treadmill: clip.unit: the clip states lengths in m, but"),
    ],
)
def test_a_wrong_option_of_plant_is_told_by_its_name(
    words: tuple[str, ...], says: str, walk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = refused(capsys, "plant", walk, *words, "-o", walk)
    assert says in told
    assert walk.read_bytes() == DEMO.read_bytes()


def test_an_input_is_never_written_over_by_another_output(walk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = walk.parent
    (folder / "link.json").symlink_to("walk.json")
    (folder / "r.toml").write_text(RIG, encoding="utf-8")
    (folder / "g.toml").write_text('surefoot = "ground/1"\nunit = "m"\nkind = "flat"\n')
    (folder / "b.json").write_bytes(DEMO.read_bytes())
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    out = folder / "out.json"
    for words, says in (
        (("--layer", walk), "--layer: .* is the clip too; name another file"),
        (("--layer", folder / "link.json"), "--layer: .* is the clip too"),
        (("--layer", folder / ".." / folder.name / "walk.json"), "--layer: .* is the clip too"),
        (("-o", out, "--layer", out), "--layer: .* is --output too"),
        (("-o", out, "--layer", folder / ".." / folder.name / "out.json"), "--layer: .* is --output too"),
        (("--rig", folder / "r.toml", "-o", folder / "r.toml"), "--output: .* is --rig too"),
        (("--ground", folder / "g.toml", "--layer", folder / "g.toml"), "--layer: .* is --ground too"),
        (("--before", folder / "b.json", "-o", folder / "b.json"), "--output: .* is --before too"),
        (("-o", ""), "--output: wanted the name of a file, got ''"),
        (("-o", "-"), "--output: wanted the name of a file, got '-'"),
        (("-o", "a\0b"), "--output: wanted the name of a file"),
        (("-o", folder), "can't be written: it is a folder; name a file"),
        (("-o", folder / "none" / "x.json"), "can't be written: there is no folder"),
        (("-o", out, "--layer", folder / "none" / "x.json"), "can't be written: there is no folder"),
        (("-o", os.devnull), "can't be written: it is no ordinary file"),
    ):
        assert re.search(says, refused(capsys, "plant", walk, *words)), words
        assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_a_disc_that_fails_while_writing_leaves_everything_as_it_was(
    walk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    told = refused(capsys, "plant", walk, "-o", walk, "--layer", walk.with_name("layer.json"))
    assert told == f"{walk}: can't be written: No space left on device"
    assert [p.name for p in walk.parent.iterdir()] == ["walk.json"]
    assert walk.read_bytes() == DEMO.read_bytes()


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_folder_is_told(walk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    walk.parent.chmod(0o500)
    try:
        assert "Permission denied" in refused(capsys, "plant", walk, "-o", walk.with_name("out.json"))
    finally:
        walk.parent.chmod(0o700)


def test_a_wrong_command_is_told_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert "COMMAND" in refused(capsys)
    assert refused(capsys, "chek") == "no command is called 'chek'; did you mean 'check'?"
    assert refused(capsys, "check").endswith("CLIP is missing; try surefoot check --help")


# --- starting up ----------------------------------------------------------------------------------


def run(*argv: str, encoding: str = "utf-8") -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONPATH": str(ROOT / "solver"), "PYTHONIOENCODING": encoding}
    command = [sys.executable, "-m", "surefoot", *argv]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=60)


HEAVY = ("numpy", "scipy", "shapely", "msgspec", "rich")


def loaded_by(code: str) -> set[str]:
    """Return the heavy packages that a fresh interpreter has loaded after running ``code``."""
    script = f"{code}\nimport sys\nprint('|' + ' '.join(sorted(sys.modules)))"
    environment = os.environ | {"PYTHONPATH": str(ROOT / "solver")}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=environment, check=True, timeout=60
    )
    names = done.stdout.rpartition("|")[2].split()
    return {name for name in HEAVY if name in names}


@pytest.mark.parametrize("argv", [["--help"], ["--version"], ["check", "--help"], ["plant", "--help"], ["chek"]])
def test_help_and_version_load_nothing_heavy(argv: list[str]) -> None:
    assert loaded_by(f"from surefoot.cli import main\nmain({argv!r})") == set()


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert loaded_by("import surefoot; surefoot.__version__; dir(surefoot); surefoot.SurefootError") == set()
    assert "numpy" in loaded_by("import surefoot; surefoot.plant")


def test_help_names_every_option_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "for animation, not for clinical or ergonomic use" in text
    assert "Exit status: 0 clean or notes only, 1 warnings or errors, 2 wrong input" in text
    assert main(["plant", "--help"]) == 0
    text = capsys.readouterr().out
    for option in ("--rig", "--ground", "--belt", "--stances", "--leave", "--tolerance", "--landing", "--json",
                   "--output", "--layer", "--before", "--anchor", "--clearance", "--leave-below"):  # fmt: skip
        assert option in text
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"surefoot {surefoot.__version__}\n"


def test_the_module_runs_as_a_program_and_a_closed_pipe_is_no_fault() -> None:
    assert run("--version").stdout == f"surefoot {surefoot.__version__}\n"
    done = run("check", "none.json")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "surefoot: none.json: can't be read: No such file or directory\n"
    environment = os.environ | {"PYTHONPATH": str(ROOT / "solver")}
    command = [sys.executable, "-m", "surefoot", "check", "lamplighter"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()


def test_a_ground_that_is_neither_a_file_nor_a_preset_is_told_with_the_presets(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", "lamplighter", "--ground", "accessible-stair"]) == 2
    told = capsys.readouterr().err
    assert "--ground: no ground file or preset is called 'accessible-stair'; did you mean 'accessible-stairs'?" in told
