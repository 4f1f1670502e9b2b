"""Remote calls between two real processes: the server under this Python, the client under an old one without numpy."""

from __future__ import annotations

import ast
import functools
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import surefoot
from surefoot.clip_file import parse_clip
from surefoot.curves import Pack
from surefoot.rpc.client import Client, RemoteError, ServerGone, Timeout

SERVER = [sys.executable, "-m", "surefoot", "rpc"]
CLIENT = Path(surefoot.__file__).parent / "rpc" / "client.py"
DEMO = Path(__file__).parents[1] / "demos" / "data" / "lamplighter.json"
OLD = ("3.7", "3.8", "3.9")
LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the memory of a process from /proc")


@functools.cache
def old_python(version: str) -> str | None:
    """Return a Python of this version that runs, from the path or from pyenv."""
    candidates = [shutil.which(f"python{version}")]
    pyenv = shutil.which("pyenv")
    if pyenv is not None:
        root = subprocess.run([pyenv, "root"], capture_output=True, text=True, timeout=20).stdout.strip()
        candidates += [str(path) for path in sorted(Path(root).glob(f"versions/{version}.*/bin/python"))]
    for path in candidates:
        if path is None:
            continue
        told = subprocess.run([path, "-c", "import sys; print('%d.%d' % sys.version_info[:2])"], capture_output=True,
                              text=True, timeout=20)  # fmt: skip
        if told.stdout.strip() == version:
            return path
    return None


def long_clip(frames: int = 12_000) -> dict[str, Any]:
    """Return the lamplighter's cycle repeated for so many frames: proposals for it take many seconds."""
    table: dict[str, Any] = json.loads(DEMO.read_text(encoding="utf-8"))
    return {**table, "range": {"first": 1, "last": frames}, "loop": False, "stances": None}


DRIVER = """
import json, sys, time
try:
    import numpy
except ImportError:
    pass
else:
    raise SystemExit("numpy is here")
sys.path.insert(0, sys.argv[1])
from surefoot_client import Client, RemoteError
told = {"python": list(sys.version_info[:2])}
long_clip = json.load(open(sys.argv[2]))
start = time.time()
with Client(sys.argv[3:], timeout=60) as surefoot:
    clip = surefoot.call("clip.open", path="lamplighter")["clip"]
    calls, refusals, worst = 1, 0, set()
    heard = []
    planted = surefoot.call("plant", clip=clip, progress=lambda share, what: heard.append(share))
    told["keys"] = surefoot.call("keys", clip=planted["clip"], since=clip)["channels"]
    calls += 2
    while calls < 1000:
        if calls % 10 == 0:
            worst.add(surefoot.call("check", clip=planted["clip"])["worst"])
        elif calls % 10 == 5:
            try:
                surefoot.call("check", clip="no such clip")
            except RemoteError as error:
                refusals += error.code == -32602
        elif calls % 100 == 1:
            more = surefoot.call("plant", clip=clip, keys="every")
            surefoot.call("clip.close", clip=more["clip"])
            calls += 1
        else:
            surefoot.call("keys", clip=clip, channels=["hips.y"])
        calls += 1
    told.update(calls=calls, refusals=refusals, worst=sorted(worst), heard=heard, seconds=time.time() - start)
    batch = surefoot.batch([("check", {"clip": clip}), ("nothing", {})])
    told["batch"] = [batch[0]["worst"], batch[1].code]
    long = surefoot.call("clip.open", clip=long_clip)["clip"]
    running = surefoot.start("propose", clip=long)
    time.sleep(0.5)
    start = time.time()
    surefoot.cancel(running)
    try:
        surefoot.wait(running)
    except RemoteError as error:
        told["cancelled"] = [error.code, time.time() - start]
    told["after"] = surefoot.call("check", clip=clip)["worst"]
told["status"] = surefoot.close()
print(json.dumps(told))
"""


def test_an_answer_is_waited_for_once_and_a_second_wait_is_told_not_hung() -> None:
    with Client(SERVER, timeout=60.0) as client:
        number = client.start("about")
        assert "methods" in client.wait(number)
        for strange in (number, 99):
            with pytest.raises(ValueError, match="was not begun, or its answer was waited for already"):
                client.wait(strange, timeout=5.0)


@pytest.mark.parametrize("version", [OLD[0], *(pytest.param(v, marks=pytest.mark.long) for v in OLD[1:])])
def test_an_old_python_without_numpy_makes_a_thousand_calls(version: str, tmp_path: Path) -> None:
    python = old_python(version)
    if python is None:
        pytest.skip(f"no Python {version} is installed here; the client's syntax is checked for it all the same")
    shutil.copy(CLIENT, tmp_path / "surefoot_client.py")
    (tmp_path / "driver.py").write_text(DRIVER, encoding="utf-8")
    (tmp_path / "long.json").write_text(json.dumps(long_clip()), encoding="utf-8")
    argv = [python, "-S", "-E", str(tmp_path / "driver.py"), str(tmp_path), str(tmp_path / "long.json"), *SERVER]
    done = subprocess.run(argv, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    told = json.loads(done.stdout)
    assert told["python"] == [int(part) for part in version.split(".")]
    assert told["calls"] >= 1000
    assert told["refusals"] == 100
    assert told["worst"] == ["note"]
    assert told["heard"] == sorted(told["heard"])
    assert len(told["heard"]) >= 2
    assert told["batch"] == ["error", -32601]
    code, seconds = told["cancelled"]
    assert code == 1
    assert seconds < 2.0
    assert (told["after"], told["status"]) == ("error", 0)
    clip, rig = surefoot.demo("lamplighter")
    direct = surefoot.plant(clip, rig, keys="few")
    table = {"surefoot": "clip/1", "rate": 24, "range": {"first": 1, "last": 24}, "channels": told["keys"]}
    read, at = parse_clip(json.dumps(table).encode()), np.arange(1.0, 25.0, 0.25)
    assert set(read.channels) == set(direct.changed)
    for name in direct.changed:
        gap = Pack.from_curves([read.channels[name]]).evaluate(at) - Pack.from_curves(
            [direct.clip.channels[name]]
        ).evaluate(at)
        assert np.abs(gap).max() < 1e-9


@pytest.mark.parametrize("minor", [7, 8, 9])
def test_the_client_is_one_file_of_the_standard_library_in_the_syntax_of_old_pythons(minor: int) -> None:
    tree = ast.parse(CLIENT.read_text(encoding="utf-8"), feature_version=(3, minor))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported == {"__future__", "collections", "json", "subprocess", "threading", "time", "typing"}


# the client under this Python -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def server() -> Iterator[Client]:
    with Client(SERVER, timeout=30.0) as client:
        yield client


def test_a_refusal_comes_as_an_error_with_code_and_data(server: Client) -> None:
    with pytest.raises(RemoteError, match="did you mean 'lamplighter'") as refusal:
        server.call("clip.open", path="lampligter")
    assert refusal.value.code == -32602
    assert refusal.value.data["kind"] == "UnknownName"


def test_a_call_that_takes_too_long_is_cancelled(server: Client) -> None:
    clip = server.call("clip.open", clip=long_clip())["clip"]
    start = time.monotonic()
    with pytest.raises(Timeout, match=r"no answer to call \d+ in 0\.3 seconds; it has been cancelled"):
        server.call("propose", timeout=0.3, clip=clip)
    assert server.call("clip.close", clip=clip)["open"] is not None
    assert time.monotonic() - start < 4.0


def test_a_progress_callback_stops_the_call_or_raises_through_it(server: Client) -> None:
    clip = server.call("clip.open", clip=long_clip())["clip"]
    with pytest.raises(RemoteError) as refusal:
        server.call("propose", progress=lambda share, _what: share < 0.2, clip=clip)
    assert refusal.value.code == 1

    def raises(_share: float, what: str) -> None:
        raise LookupError(what)

    with pytest.raises(LookupError, match="checking"):
        server.call("propose", progress=raises, clip=clip)
    assert server.call("about")["surefoot"] == surefoot.__version__


def test_calls_from_several_threads_get_their_own_answers(server: Client) -> None:
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(8) as pool:
        told = list(pool.map(lambda n: server.batch([(f"m{n}", {})]), range(60)))
    assert [f"m{n}" in str(errors[0]) for n, errors in enumerate(told)] == [True] * 60


def test_a_server_that_can_t_be_started_or_has_died_is_told_with_its_last_words() -> None:
    with pytest.raises(ServerGone, match="can't start nowhere-at-all"):
        Client(["nowhere-at-all"])
    words = [sys.executable, "-c", "import sys; sys.stderr.write('out of luck'); sys.exit(3)"]
    client = Client(words)
    with pytest.raises(ServerGone, match=r"exit status 3\): out of luck"):
        client.call("about", timeout=20.0)
    assert client.close() == 3


def test_a_server_that_speaks_something_else_is_not_waited_for_forever() -> None:
    client = Client([sys.executable, "-c", "print('hello'); input()"])
    with pytest.raises(ServerGone, match="no JSON: b'hello"):
        client.call("about", timeout=20.0)
    client.close()


def test_an_empty_batch_asks_for_nothing_and_calls_that_end_out_of_order_get_their_own(server: Client) -> None:
    assert server.batch([]) == []
    answers = server.batch([("about", {}), ("check", {"clip": "no such clip"}), ("about", {})])
    assert [isinstance(answer, RemoteError) for answer in answers] == [False, True, False]
    assert answers[0] == answers[2]


def test_a_server_that_does_not_end_is_killed_and_that_is_its_status() -> None:
    """It heeds neither the end of its input nor anything else."""
    client = Client([sys.executable, "-c", "import time; time.sleep(600)"])
    start = time.monotonic()
    assert client.close(timeout=0.5) == -signal.SIGKILL
    assert time.monotonic() - start < 60.0
    with pytest.raises(ServerGone, match=r"the server is gone \(exit status -9\): it wrote nothing"):
        client.call("about")


# the process ----------------------------------------------------------------------------------------------


def started() -> subprocess.Popen[bytes]:
    pipe = subprocess.PIPE
    return subprocess.Popen(SERVER, stdin=pipe, stdout=pipe, stderr=pipe)


def ended(process: subprocess.Popen[bytes], data: bytes = b"") -> tuple[int, list[Any], str]:
    out, err = process.communicate(data, timeout=60)
    return process.returncode, [json.loads(line) for line in out.splitlines()], err.decode()


ABOUT = b'{"jsonrpc": "2.0", "id": 1, "method": "about"}\n'


def test_garbage_between_calls_is_answered_and_the_end_of_the_input_ends_it() -> None:
    garbage = b"\x00\xff\xfe\n{]\n" + b"[" * 100_000 + b"\n\xef\xbb\xbf{}\nGET / HTTP/1.1\r\n\r\n" + ABOUT[:-1]
    status, answers, words = ended(started(), garbage)
    assert [answer.get("error", {}).get("code") for answer in answers] == [-32700] * 5 + [None]
    assert (status, words) == (0, "")


@pytest.mark.skipif(sys.platform == "win32", reason="closes streams by the shell of other systems")
@pytest.mark.parametrize(
    ("closed", "status", "told"),
    [
        ("<&-", 1, "surefoot rpc: the input or the output is closed from the start ([Errno 9] Bad file descriptor)"),
        (">&-", 1, "surefoot rpc: the input or the output is closed from the start ([Errno 9] Bad file descriptor)"),
        ("2>&-", 0, ""),
    ],
)
def test_streams_that_are_closed_from_the_start_are_told_or_done_without(closed: str, status: int, told: str) -> None:
    argv = ["sh", "-c", f'exec "$0" "$@" {closed}', *SERVER]
    done = subprocess.run(argv, input=ABOUT, capture_output=True, timeout=60)
    assert (done.returncode, done.stderr.decode().strip()) == (status, told)
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == ([1] if status == 0 else [])


def test_a_broken_output_ends_it_with_a_sentence() -> None:
    process = started()
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    process.stdin.write(ABOUT * 2)
    process.stdin.flush()  # stays open: the server has to notice by itself
    assert process.wait(30) == 1
    assert process.stderr.read().decode() == "surefoot rpc: the output is closed ([Errno 32] Broken pipe); stopping\n"
    process.stderr.close()
    process.stdin.close()


@pytest.mark.skipif(sys.platform == "win32", reason="signals of other systems")
@pytest.mark.parametrize(
    ("sent", "status", "told"), [(signal.SIGTERM, 143, "ended by a signal"), (signal.SIGINT, 130, "interrupted")]
)
@pytest.mark.parametrize("busy", [False, True])
def test_a_signal_ends_it_with_a_sentence(sent: signal.Signals, status: int, told: str, busy: bool) -> None:
    process = started()
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(ABOUT)
    process.stdin.flush()
    assert process.stdout.readline()
    if busy:
        opened = {"jsonrpc": "2.0", "id": 2, "method": "clip.open", "params": {"clip": long_clip()}}
        wish = {"jsonrpc": "2.0", "id": 3, "method": "propose", "params": {"clip": "clip-1"}}
        process.stdin.write(json.dumps(opened).encode() + b"\n" + json.dumps(wish).encode() + b"\n")
        process.stdin.flush()
        assert process.stdout.readline()
        time.sleep(0.3)
    process.send_signal(sent)
    assert process.wait(30) == status
    _, err = process.communicate(timeout=10)
    assert err.decode() == f"surefoot rpc: {told}\n"


def most_memory(process: subprocess.Popen[bytes]) -> int:
    """Return the most memory that a process has held, bytes."""
    status = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) * 1024


@LINUX
def test_an_oversized_message_costs_the_server_no_memory_of_its_size() -> None:
    process = subprocess.Popen([*SERVER, "--longest", "1"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(ABOUT)
    process.stdin.flush()
    process.stdout.readline()
    before = most_memory(process)
    for _ in range(100):
        process.stdin.write(b"[" * (1 << 20))
    process.stdin.write(b"\n" + ABOUT)
    process.stdin.flush()
    answer = json.loads(process.stdout.readline())
    assert answer["error"]["code"] == -32600
    assert answer["error"]["message"] == f"a message of {(100 << 20) + 1} bytes; at most {1 << 20} are taken"
    assert json.loads(process.stdout.readline())["id"] == 1
    assert most_memory(process) - before < 8 << 20
    process.stdin.close()
    assert process.wait(30) == 0
    process.stdout.close()


@LINUX
def test_a_job_that_wants_more_memory_than_is_allowed_is_answered_and_the_server_lives() -> None:
    with Client([*SERVER, "--memory", "900"], timeout=60.0) as client:
        clip = client.call("clip.open", clip=long_clip(100_000))["clip"]
        with pytest.raises(RemoteError, match="there isn't enough memory for it") as refusal:
            client.call("check", clip=clip)
        assert refusal.value.code == 3
        demo = client.call("clip.open", path="lamplighter")["clip"]
        assert client.call("check", clip=demo)["worst"] == "error"
        with pytest.raises(RemoteError, match="5000000 frames; at most 200000 are taken"):
            client.call("clip.open", clip=long_clip(5_000_000))


@LINUX
def test_memory_stays_flat_over_many_plants() -> None:
    process = started()
    assert process.stdin is not None
    assert process.stdout is not None

    def call(method: str, **params: Any) -> Any:
        assert process.stdin is not None
        assert process.stdout is not None
        message = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        process.stdin.write(json.dumps(message).encode() + b"\n")
        process.stdin.flush()
        return json.loads(process.stdout.readline())["result"]

    call("clip.open", path="lamplighter")
    marks = []
    for i in range(80):
        call("clip.close", clip=call("plant", clip="clip-1", keys="every")["clip"])
        if i in (29, 79):
            marks.append(most_memory(process))
    assert marks[1] - marks[0] < 4 << 20
    assert ended(process)[0] == 0


def test_the_environment_of_the_server_prints_nothing_between_the_messages() -> None:
    """Even a module that prints on standard output doesn't get between: the stream is set aside."""
    code = (
        "import sys, surefoot.rpc.desk as d\nrun = d.METHODS['about']\n"
        "def loud(*a):\n    print('loud', flush=True)\n    return run.run(*a)\n"
        "d.METHODS['about'] = run._replace(run=loud)\nfrom surefoot.cli import main\nsys.exit(main(['rpc']))"
    )
    done = subprocess.run([sys.executable, "-c", code], input=ABOUT, capture_output=True, timeout=60, env=os.environ)
    assert done.returncode == 0
    assert json.loads(done.stdout)["id"] == 1
    assert done.stderr == b"loud\n"
