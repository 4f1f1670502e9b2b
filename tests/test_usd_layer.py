"""Corrections as layers over a stage, where nothing is corrected, over each other, and where a node is missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import surefoot
from surefoot.cli import main
from surefoot.errors import InputError
from surefoot.formats.mapping import mapping_path
from surefoot.formats.opening import clip_files, open_clip
from surefoot.formats.usd_layer import correction_layer, over_stage


def written(
    tmp_path: Path, suffix: str = ".usda", name: str = "lamplighter"
) -> tuple[Path, surefoot.Clip, surefoot.Rig]:
    clip, rig = surefoot.demo(name)
    path = tmp_path / f"{name}{suffix}"
    for data, file in clip_files(clip, rig, path):
        Path(file).write_bytes(data)
    return path, clip, rig


def test_a_correction_is_nothing_where_nothing_is_corrected(tmp_path: Path) -> None:
    path, _, rig = written(tmp_path)
    opened = open_clip(path)
    assert opened.mapping is not None
    same = correction_layer(path, opened.clip, mapping=opened.mapping, rig=rig)
    assert b"xformOp" not in same


def test_a_second_correction_lies_over_the_first(tmp_path: Path) -> None:
    path, _, rig = written(tmp_path)
    opened = open_clip(path)
    assert opened.mapping is not None
    planted = surefoot.plant(opened.clip, rig).clip
    layer, over = tmp_path / "one.contact.usda", tmp_path / "one.usda"
    layer.write_bytes(correction_layer(path, planted, mapping=opened.mapping, rig=rig))
    over.write_bytes(over_stage(path, layer, over))
    back, two = tmp_path / "two.contact.usda", tmp_path / "two.usda"
    back.write_bytes(correction_layer(over, opened.clip, mapping=opened.mapping, rig=rig))
    two.write_bytes(over_stage(over, back, two))
    assert b"contact2" in back.read_bytes()
    again = open_clip(two, mapping=mapping_path(path)).clip
    for name, curve in opened.clip.channels.items():
        np.testing.assert_allclose(again.channels[name].values, curve.values, atol=1e-7)


def test_toes_without_a_node_are_asked_about(tmp_path: Path) -> None:
    path, _, _ = written(tmp_path)
    text = mapping_path(path).read_text()
    head = [line for line in text.splitlines() if not line.startswith("toes")]
    bare = "\n".join(head).partition("[clip.channels")[0]
    mapping_path(path).write_text(bare)
    with pytest.raises(InputError, match=r"nodes\.left_foot\.toes: the rig bends its toes"):
        open_clip(path)


def test_a_stage_is_never_laid_over_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, _, _ = written(tmp_path)
    before = path.read_bytes()
    assert main(["plant", str(path), "-o", str(path)]) == 2
    assert "--output: " in (told := capsys.readouterr().err)
    assert "is the clip too; name another file" in told
    own = tmp_path / "walk.contact.usda"
    own.write_bytes(before)
    mapping_path(own).write_bytes(mapping_path(path).read_bytes())
    assert main(["plant", str(own), "-o", str(tmp_path / "walk.usda")]) == 2
    assert "the correction layer: " in capsys.readouterr().err
    assert path.read_bytes() == own.read_bytes() == before
