"""Every command asked wrongly: one sentence says what came, where, and what was wanted; exit status 2."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from surefoot.cli import main
from surefoot.commands import COMMANDS

WRONG = """
| COMMAND is missing; try surefoot --help
chek lamplighter | no command is called 'chek'; did you mean 'check'?
check | CLIP is missing; try surefoot check --help
check nowhere | no file or demo is called 'nowhere'; known are ferry, lamplighter, run, treadmill, trudge
check nowhere.json | nowhere.json: can't be read: No such file or directory
check nowhere.bvh | nowhere.bvh: can't be read: No such file or directory
check empty.json | empty.json: the file is empty; wanted a clip in JSON
check empty.glb | empty.glb: the file is empty
check text.json | text.json: line 1, column 1: not JSON: expecting value; wanted a clip in JSON
check lamplighter more | check takes no further 'more'; try surefoot check --help
check lamplighter --js | check has no option --js; did you mean --json?
check lamplighter --wings | check has no option --wings; try surefoot check --help
check lamplighter --belt | --belt: wanted a value after it; try surefoot check --help
check lamplighter --leave left | --leave: wanted 2 values after it; try surefoot check --help
check lamplighter --landing soon | --landing: wanted a number, got 'soon'; try surefoot check --help
check lamplighter --also slide | --also: no kind of finding that waits to be asked for is called 'slide'
check lamplighter --ground text.ply | text.ply: it holds triangles alone; give a TOML file beside it, with the lines
check lamplighter --stances left=1-15 | --stances: state the right foot's too; the clip states none (--stances right=
plant | CLIP is missing; try surefoot plant --help
plant lamplighter --keys-at 99 | --keys-at: frame 99 lies outside the clip's 1 to 24
plant lamplighter --keys-at 1 --every-frame | --every-frame: doesn't go together with --keys-at
plant lamplighter --frames 99-100 | --frames: frames 99 to 100 lie outside the clip's 1 to 24
plant lamplighter --let hips.q | --let: no channel is called 'hips.q'; did you mean
plant lamplighter --loops x | --loops: wanted a whole number from 1 to 999999, such as 6, got 'x'
plant lamplighter --loops 2 --along 0,0:0,0 | --along: expected at least two places, each apart from the one before
plant lamplighter --loops 2 --stride 1.2-0.3 | --stride: expected shares about 1, from 0.05 to 3, got 1.2 to 0.3
plant lamplighter --loops 2 --before lamplighter | --before: it doesn't go together with --loops, which lays new
plant treadmill --loops 2 | --loops: the clip is no loop, so there is nothing to lay out
plant lamplighter -o planted.xyz | planted.xyz: no format that is written is called '.xyz'; known are
plant lamplighter -o folder | folder: can't be written: it is a folder; name a file
block | RECIPE is missing; try surefoot block --help
block walk --amount bb=2 | --amount: no layer is called 'bb'; did you mean 'bob'?
block walk --amount bob=x | --amount: wanted a layer and a factor, such as bob=0.7, got 'bob=x'
block walk --amount bob=9 | --amount: bob.amount: wanted -4 to 4, got 9
block walk --off bb | --off: no layer is called 'bb'; did you mean 'bob'?
remix lamplighter | nothing to do; give --scale, --add, --shift, --edits, --mix or --close
remix lamplighter --scale hips.q=0.5 | --scale: no channel or family is called 'hips.q'; did you mean
remix lamplighter --scale hips.y=1e400 | --scale: wanted an amount of at most 1,000,000, got 1e400
remix lamplighter --mix trudge=0.3 | --mix lamplighter trudges: frames 1 to 32 at 24 a second don't go with
twin lamplighter --from up | --from: no side is called 'up'; known are left, right
twin lamplighter --of foo | --of: no channel or family is called 'foo'; known are
travel lamplighter --speed 1 | --speed and --by go together: say whether time or stride gives way
travel lamplighter --speed -1 --by time | --speed: wanted a speed above 0 and below 100 m/s, got -1.0
travel lamplighter --to moon | --to: wanted travelling or in-place, got 'moon'; try surefoot travel --help
travel lamplighter --gait wlk | --gait: no gait is called 'wlk'; did you mean 'walk'?
travel lamplighter --to in-place | lamplighter: travel: nothing in it travels
draw lamplighter | --output is missing; try surefoot draw --help
draw lamplighter -o x.xyz | --output x.xyz: wanted a file that ends in .svg or .png
draw lamplighter -o x.svg --frames 99 | --frames: frame 99 lies outside the clip's 1 to 24
draw lamplighter -o x.svg --channels foo | --channels: no channel is called 'foo'; known are
report lamplighter | --output is missing; try surefoot report --help
report lamplighter -o r.html --before nowhere.json | nowhere.json: can't be read: No such file or directory
convert lamplighter | convert: wanted one of --style (ankle, rockers or joints) and --to (a rig)
convert lamplighter x.json --style foo | --style: the control style 'foo' isn't known; use ankle, rockers, joints
convert lamplighter --linear x.json | --linear: goes with .glb and .gltf only
convert lamplighter x.bvh | x.bvh: BVH is read only; written are .json, .csv, .glb,
convert lamplighter x.json y.json | convert takes no further 'y.json'
convert lamplighter --to nobody -o x.json | --to: no rig is called 'nobody'
convert lamplighter --to stalker -o x.json | --to: the left hip of stalker is
convert lamplighter --to adult -o x.json | --to: the left thigh of adult is
map text.bvh --rig nobody | --rig: no rig is called 'nobody'
convert lamplighter x.xyz | x.xyz: no format that is written is called '.xyz'; known are
map text.json | text.json: it holds channels, keys and all, which need no mapping; wanted nodes, joints or markers: .glb
rig | WHAT and RIG are missing; try surefoot rig --help
rig show nobody | no rig is called 'nobody'; known are
batch folder | --output: name the folder that results and the summary go to
batch folder -o folder | --output: folder is the folder of the clips too; name another, so that they stay
batch folder -o out --processes x | --processes: wanted a whole number, got 'x'; try surefoot batch --help
page lamplighter --port x | --port: wanted a whole number, got 'x'; try surefoot page --help
rpc more | rpc takes no further 'more'; try surefoot rpc --help
formats more | formats takes no further 'more'; try surefoot formats --help
demo text.json | text.json: that is a file; name a new folder, or an empty one
""".strip().split("\n")


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wrong")
    for name in ("empty.json", "empty.glb"):
        (folder / name).touch()
    for name in ("text.json", "text.ply"):
        (folder / name).write_text("hello")
    (folder / "folder").mkdir()
    (folder / "folder" / "walk.json").write_text("hello")
    return folder


@pytest.mark.parametrize("line", WRONG)
def test_a_wrong_command_line_is_told_in_one_clear_sentence(
    line: str, place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(place)
    words, _, told = line.partition("|")
    assert main(shlex.split(words)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"surefoot: {told.strip()}")
    assert err.count("\n") == 1
    assert "demos/data" not in err, "a demo is told by its name"


def test_every_command_is_asked_wrongly() -> None:
    assert {line.split()[0] for line in WRONG} - {"|", "chek"} == set(COMMANDS)
