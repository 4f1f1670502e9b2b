"""The house: imports run one way, modules stay small, everything public is described, nothing private is told."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
from collections.abc import Iterable
from pathlib import Path

import pytest

import surefoot
from surefoot import formats, grounds
from surefoot.commands import COMMANDS
from surefoot.tolerances import KINDS

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "solver" / "surefoot"
MODULES = sorted(
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    for path in PACKAGE.rglob("*.py")
    if path.parent == PACKAGE or path.name != "__init__.py"
)
PACKAGES = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
"""Parts of the rim that are packages: a package's own module imports nothing of it, or stands after all of it."""
MOST_LINES = 350

STREAM = {
    "words and measures": "_version errors units tolerances cautions heeding tabled",
    "mathematics": "rotations directions band bounds pendulum",
    "curves": "bezier tangents key_checks rounds pack curves key_edits key_range",
    "ground": (
        "ground_line ground_coordinates ground_surface ground_profile ground ground_grid ground_mesh ground_presets"
    ),
    "rig and clip": "control_styles foot rig belt clip given rig_styles side_map",
    "kinematics": (
        "leg leg_chain leg_joints leg_pose hinge_chain bounded rocker_chain sole underfoot poses foot_styles "
        "leg_solve rig_shown derive spaces scene"
    ),
    "contact": "slip contact",
    "plant": (
        "seat lean footprint reach swing floors on_ball settle as_written choice dense passing still key_slopes keys "
        "creep few"
    ),
    "the other styles, the whole job": "feet_in_world styled restyle planting",
    "laying out": "route pace tread carrying travel under_root laying deck",
    "mirror": "families mirror",
    "findings": (
        "findings touch slide swivel seam mismatch oppose joints seen stand locks mass balance faults faults.* checking"
    ),
    "ways to mend": "easing bench mend_height mend_slide mend_reach mend_limit mend_snap mend_cross mend_seam",
    "proposals": "trial tally aftermath overlay proposals letting",
    "the day's edits": "remixing replanting twinning closing",
    "speed and travel": "gait_relations gait gait_phases pacing",
    "hand-over": "layer",
    "blocking out": "recipe_measures recipe_layers recipe cycle block_hips block_feet blocking",
    "gait": "gait_measures gait_bands",
    "capture": "capture_points capture_hinge capture",
    "files": (
        "file_faults save plain_toml rig_tables rig_file rig_save clip_file ground_data_file ground_mesh_file grounds "
        "grounds.kind grounds.* ground_file profile_file recipe_file pairs demos"
    ),
    "formats": (
        "formats formats.mapping formats.motion formats.form formats.looking formats.carry "
        "formats.gltf_read formats.gltf_write formats.usd_write formats.usd_read formats.* formats.deck_file "
        "formats.apart formats.usd_layer formats.bodies formats.guess formats.opening"
    ),
    "host": "host.protocol host.refusals host.memory host.reading host.writing host.jobs host",
    "pictures": (
        "pictures pictures.ink pictures.svg pictures.axes pictures.figure pictures.subject pictures.tracks "
        "pictures.labels pictures.slid pictures.posed pictures.close_up pictures.strip pictures.plan_notes "
        "pictures.plan pictures.gait pictures.traces pictures.sheet pictures.png "
        "pictures.listings pictures.scrubbed pictures.report"
    ),
    "page": "page page.wishes page.packing page.telling page.work page.line page.server",
    "faces": "story options edit_text printed tables gait_tables walk_tables lay_tables",
    "shared by commands": "commands commands.arguments commands.as_json commands.job",
    "remote calls": "rpc rpc.lines rpc.messages rpc.wishes rpc.desk rpc.server rpc.client",
    "commands": (
        "commands.results commands.edited commands.pairwise commands.compared "
        "batch batch.task batch.summary batch.running batch.progress commands.*"
    ),
    "command line": "cli __main__",
}
"""The line in which modules stand; each may import those before it, and none after it.

``formats.*`` stands for the modules that the package's own table names: a new one needs no line here.
"""
TABLES: dict[str, Iterable[str]] = {
    "formats": formats.FORMATS, "grounds": grounds.KINDS, "faults": KINDS, "commands": COMMANDS
}  # fmt: skip


def in_line(names: str) -> list[str]:
    """Return the modules of a row of the line."""
    found: list[str] = []
    for name in names.split():
        package, dot, rest = name.rpartition(".")
        found += [f"{package}.{one}" for one in TABLES[package]] if rest == "*" and dot else [name]
    return found


LINE = [name for names in STREAM.values() for name in in_line(names)]
BEGINS = list(STREAM).index("files")
RIM = [name for part in list(STREAM)[BEGINS:] if part != "host" for name in in_line(STREAM[part])]
SHOP_WINDOW = "__init__"


def source(module: str) -> Path:
    path = PACKAGE.joinpath(*module.split("."))
    return path / "__init__.py" if module in PACKAGES else path.with_suffix(".py")


def tree(module: str) -> ast.Module:
    return ast.parse(source(module).read_text(encoding="utf-8"))


def imported(module: str) -> set[str]:
    """Return the modules of the package that one imports anywhere in it, for types only too."""
    found: set[str] = set()
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[2] for alias in node.names if alias.name.startswith("surefoot.")}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: write imports out in full"
            head, _, tail = (node.module or "").partition(".")
            if head == "surefoot":
                found |= {tail} if tail else {alias.name for alias in node.names}
    return found


def test_every_module_stands_in_the_line_once() -> None:
    assert sorted(LINE) == sorted([*(name for name in MODULES if name != SHOP_WINDOW), *PACKAGES])


def test_the_developers_page_names_every_module_in_its_row() -> None:
    rows = dict(re.findall(r"^\| ([a-z' ,-]+) \| [^|]* \| (.*) \|$", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.M))
    for idea, names in STREAM.items():
        told = set(re.findall(r"`(\w+)/?`", rows[idea]))
        assert {part for name in names.split() for part in name.split(".") if part != "*"} == told, idea


@pytest.mark.parametrize("module", LINE)
def test_imports_run_downstream_only(module: str) -> None:
    upstream = imported(module) - set(LINE[: LINE.index(module)])
    assert not upstream, f"{module} imports {sorted(upstream)}, which stand after it"


@pytest.mark.parametrize("module", LINE)
def test_a_module_takes_nothing_private_from_another(module: str) -> None:
    taken = [
        alias.name
        for node in ast.walk(tree(module))
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "surefoot"
        for alias in node.names
    ]
    assert not [name for name in taken if name.startswith("_") and name not in ("__version__", "_version")]


def test_the_check_of_the_stream_would_find_an_arrow_running_upstream() -> None:
    assert "planting" in imported("checking")
    assert LINE.index("planting") < LINE.index("checking")
    assert "commands" in imported("cli")
    assert "commands.job" in imported("commands.plant")


@pytest.mark.parametrize("module", [name for name in LINE if name not in RIM])
def test_inside_nothing_prints_reads_a_file_or_knows_a_face(module: str) -> None:
    outside = {"argparse", "json", "msgspec", "os", "pathlib", "rich", "shutil", "socket", "sys", "tomllib", "http"}
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            assert not {alias.name.partition(".")[0] for alias in node.names} & outside, module
        elif isinstance(node, ast.ImportFrom):
            assert (node.module or "").partition(".")[0] not in outside, module
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "open", "input"), f"{module}, line {node.lineno}"


@pytest.mark.parametrize("module", MODULES)
def test_a_module_has_at_most_so_many_lines(module: str) -> None:
    lines = source(module).read_text(encoding="utf-8").count("\n")
    assert lines <= MOST_LINES, f"{module} has {lines} lines; look for the seam"


def test_no_module_is_a_drawer_for_odds_and_ends() -> None:
    assert not {"utils", "util", "helpers", "helper", "common", "misc"} & {
        part for module in MODULES for part in module.split(".")
    }


def described(thing: object, name: str) -> bool:
    return hasattr(thing, name) and bool(inspect.getdoc(getattr(thing, name)))


@pytest.mark.parametrize("module", [name for name in MODULES if name != "__main__"])
def test_everything_public_is_described(module: str) -> None:
    """A method that a base class or the module's own protocol describes need not be described again."""
    loaded = importlib.import_module("surefoot" if module == SHOP_WINDOW else f"surefoot.{module}")
    assert loaded.__doc__
    protocols = [thing for thing in vars(loaded).values() if getattr(thing, "_is_protocol", False)]
    missing = []
    for node in tree(module).body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        thing = getattr(loaded, node.name)
        if not ast.get_docstring(node):
            missing.append(node.name)
        for part in node.body if isinstance(node, ast.ClassDef) else []:
            public = isinstance(part, ast.FunctionDef) and not part.name.startswith("_")
            if public and not any(described(one, part.name) for one in (thing, *protocols)):
                missing.append(f"{node.name}.{part.name}")
    assert not missing


def test_the_shop_window_lists_what_loads() -> None:
    assert surefoot.__all__ == sorted(surefoot.__all__)
    assert len(set(surefoot.__all__)) == len(surefoot.__all__)
    for name in surefoot.__all__:
        assert getattr(surefoot, name) is not None, name
    assert dir(surefoot) == surefoot.__all__
    assert set(surefoot.__all__) - {"__version__"} == set(surefoot._HOME_OF)
    with pytest.raises(AttributeError, match="has no attribute 'plnt'"):
        surefoot.plnt  # noqa: B018


def test_the_shop_window_says_the_same_to_a_type_checker() -> None:
    told = {
        alias.name: (node.module or "").partition(".")[2]
        for block in tree(SHOP_WINDOW).body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert told == surefoot._HOME_OF


@pytest.mark.parametrize("module", [name for name in LINE if name not in ("__main__", "_version")])
def test_what_a_module_offers_is_there(module: str) -> None:
    loaded = importlib.import_module(f"surefoot.{module}")
    for name in getattr(loaded, "__all__", ()):
        assert hasattr(loaded, name), f"{module}.{name}"


@pytest.mark.parametrize("name", [n for n in surefoot.__all__ if n != "__version__"])
def test_public_things_are_described_where_they_are_shown(name: str) -> None:
    thing = getattr(surefoot, name)
    assert inspect.getdoc(thing)
    assert not (inspect.getdoc(thing) or "").startswith(f"{name}("), "a dataclass's own signature is no description"


def test_every_public_thing_is_used_by_a_test_a_demo_or_the_documents() -> None:
    """Or is what a public function returns, or a public value holds: nobody writes that name."""
    told = [*ROOT.glob("*.md"), *ROOT.glob("demos/*"), *ROOT.glob("benchmarks/*.py"), *ROOT.glob("tests/**/*.py")]
    words = {word for path in told if path.is_file() for word in re.findall(r"\w+", path.read_text(encoding="utf-8"))}
    public = [getattr(surefoot, name) for name in surefoot.__all__]
    told_types = [getattr(one, "__annotations__", {}) for one in public]
    handed = [
        types if isinstance(one, type) else types.get("return") for one, types in zip(public, told_types, strict=True)
    ]
    words |= set(re.findall(r"\w+", str(handed)))
    assert sorted(set(surefoot.__all__) - words) == []


# put together from halves, so that this file doesn't hold what it looks for
FORBIDDEN = {
    "a path of one machine": r"(?<![\w.~\]}])/(?:ro" + r"ot|wo" + r"rk|ho" + r"me|Us" + r"ers)/",
    "work left undone": r"\b(?:TO" + r"DO|FIX" + r"ME|XX" + r"X|HA" + r"CK)\b",
    "the number of an issue": r"\bissue" + r"\s*#?\d",
    "debugging left in": r"\bbreak" + r"point\(\)|\bpdb\b",
}
TEXTS = [
    path
    for pattern in ("*.md", "*.toml", "LICENSE", "solver/**/*", "rigs/*", "tests/**/*", "demos/**/*", "benchmarks/**/*",
                    ".ci/**/*")
    for path in sorted(ROOT.glob(pattern))
    if path.is_file() and path.suffix in (".py", ".md", ".toml", ".json", ".yml", ".yaml", ".sh", ".svg", "")
    and "cache" not in str(path.relative_to(ROOT))
]  # fmt: skip


@pytest.mark.parametrize("kind", FORBIDDEN)
def test_nothing_private_or_unfinished_is_told(kind: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}: {match.group(0)}"
        for path in TEXTS
        for match in re.finditer(FORBIDDEN[kind], path.read_text(encoding="utf-8"))
    ]
    assert len(TEXTS) > 50
    assert not found


def test_the_version_is_in_the_changelog() -> None:
    assert re.fullmatch(r"\d+\.\d+\.\d+", surefoot.__version__)
    headings = re.findall(
        r"^## \[?(\d+\.\d+\.\d+)\]?", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE
    )
    assert headings[0] == surefoot.__version__
    ordered = sorted(headings, key=lambda version: [int(part) for part in version.split(".")], reverse=True)
    assert headings == ordered


def test_the_version_lives_in_one_place() -> None:
    assert surefoot.__version__ not in (ROOT / "pyproject.toml").read_text(encoding="utf-8").replace('"', " ").split()
