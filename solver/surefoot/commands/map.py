"""``surefoot map``: propose which joint, node or marker of a file is which."""

from __future__ import annotations

import argparse

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "Propose a mapping for a file by names and geometry, and say how sure each part of it is."
EXAMPLE = "surefoot map jump.bvh -o jump.bvh.map.toml"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("file", metavar="FILE", help="a file of nodes, joints or markers: glTF, OpenUSD, BVH, C3D")
    parser.add_argument("-o", "--output", metavar="OUT", help="where the mapping goes; left out, it is printed")
    parser.add_argument("--rig", metavar="RIG", help="a rig whose controls may be the file's nodes")
    parser.add_argument("--json", action="store_true", help="print JSON: how sure, and the nodes or points named")


def run(options: argparse.Namespace) -> int:
    """Propose, print how sure, and write the mapping."""
    import sys
    from pathlib import Path

    from surefoot.commands.as_json import print_json
    from surefoot.commands.job import check_outputs, said_of
    from surefoot.formats.guess import propose_mapping
    from surefoot.formats.mapping import mapping_text
    from surefoot.formats.opening import open_motion
    from surefoot.rig_file import load_rig
    from surefoot.save import save_bytes

    check_outputs({"--output": options.output}, {"the file": options.file, "--rig": options.rig})
    with said_of("--rig"):
        controls = ("hips", "left_foot", "right_foot") if options.rig is None else tuple(load_rig(options.rig).controls)
    said = propose_mapping(open_motion(options.file), file=Path(options.file).name, controls=controls)
    if options.rig is not None and said.kind == "controls":
        said.clip["rig"] = options.rig  # type: ignore[index]
    text = mapping_text(said)
    if options.output is not None:
        save_bytes(text.encode(), options.output)
    if options.json:
        nodes = {name: node.node for name, node in said.nodes.items()}
        print_json({"kind": said.kind, "surety": dict(said.surety), "points": dict(said.points), "nodes": nodes})
        return 0
    if options.output is None:
        sys.stdout.write(text)
        return 0
    width = max(map(len, said.surety))
    for name, told in said.surety.items():
        print(f"{name.ljust(width)}  {told}")
    print(f"written: {options.output}; read it over before you trust it")
    return 0
