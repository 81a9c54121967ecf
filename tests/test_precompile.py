"""The first compilation in other processes: told once, stopped at once, and nothing left behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wavesim.march import precompile

CODE = "import wavesim as ws; s = ws.load(ws.demo_path('collector')); "
POINT = CODE + "ws.run_point(s.engine, s.exhausts[s.base], 6000)"
SWEEP = CODE + "print(ws.run_study(s, progress=False)[s.base])"


@pytest.fixture
def helpers(monkeypatch):
    """Nothing is compiled, and processes are only noted down: their share, and how they ended."""
    noted = []

    class Process:
        def __init__(self, command, **_):
            self.share, self.looks = command[6], 0
            noted.append((self.share, "started"))

        def poll(self):
            self.looks += 1
            return 0 if self.looks > 2 else None

        def kill(self):
            noted.append((self.share, "killed"))

        def communicate(self):
            noted.append((self.share, "waited for"))

    monkeypatch.setattr(precompile, "_looked", set())
    monkeypatch.setattr(precompile.jit, "is_compiled", lambda *_: False)
    monkeypatch.setattr(precompile.jit, "is_kept", lambda: True)
    monkeypatch.setattr(precompile.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(precompile.subprocess, "Popen", Process)
    return noted


def test_two_helpers_compile_and_none_is_left(helpers):
    for _ in range(2):
        precompile.prepare("march")
    shares = ["march", precompile.ENDS]
    assert helpers == [(share, "started") for share in shares] + [
        (share, how) for share in shares for how in ("killed", "waited for")
    ]


def test_compilation_is_told_once_for_each_march(helpers, capsys):
    for name in ("march", "march", "march_lines"):
        precompile.prepare(name)
    assert capsys.readouterr().err.count("compiled first") == 2


def test_whoever_asks_to_stop_is_heard_and_may_come_back(helpers, capsys):
    precompile.prepare("march", lambda: True)
    assert len(helpers) == 6
    precompile.prepare("march")
    assert len(helpers) == 12 and capsys.readouterr().err.count("compiled first") == 2


@pytest.mark.parametrize(("name", "value", "told"), [
    ("is_compiled", True, 0), ("is_kept", False, 1), ("has_room", False, 1), ("is_used", False, 0),
])  # fmt: skip
def test_no_helper_where_it_is_of_no_use(helpers, monkeypatch, capsys, name, value, told):
    monkeypatch.setattr(precompile.jit, name, lambda *_: value)
    precompile.prepare("march")
    assert not helpers and capsys.readouterr().err.count("compiled first") == told


def test_system_without_other_processes_compiles_here(helpers, monkeypatch):
    def refuse(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(precompile.subprocess, "Popen", refuse)
    precompile.prepare("march")


def test_interruption_leaves_no_helper(helpers, monkeypatch):
    def press(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(precompile.time, "sleep", press)
    with pytest.raises(KeyboardInterrupt):
        precompile.prepare("march")
    assert [how for _, how in helpers].count("killed") == 2


# --- real processes -------------------------------------------------------------------------------


def is_alive(pid):
    """True if a process is there and has not ended."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state not in "ZX"


def children(pid):
    """Processes that a process has started."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rsplit(")", 1)[1].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(fields[1]) == pid:
            found.append(int(path.parent.name))
    return found


def ends(pids, seconds=5.0):
    """True if all these processes end within some seconds."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if not any(map(is_alive, pids)):
            return True
        time.sleep(0.05)
    return False


def compiling(code, cache):
    """A process in the midst of the compilation, and its helpers."""
    process = subprocess.Popen(
        [sys.executable, "-c", code], text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env=os.environ | {"WAVESIM_CACHE": str(cache)},
    )
    assert "compiled first" in process.stderr.readline()
    deadline = time.monotonic() + 20.0
    while time.monotonic() < deadline:
        helpers = children(process.pid)
        if helpers and any(cache.rglob("*.nbc")):
            return process, helpers
        time.sleep(0.05)
    raise AssertionError("nothing is compiled")


@pytest.mark.parametrize(("code", "returned"), [(POINT, -signal.SIGINT), (SWEEP, 0)],
                         ids=["point", "sweep"])
def test_interruption_works_at_once_while_kernels_are_compiled(tmp_path, code, returned):
    process, helpers = compiling(code, tmp_path)
    process.send_signal(signal.SIGINT)
    clock = time.monotonic()
    out, _ = process.communicate(timeout=60)
    assert time.monotonic() - clock < 3.0 and process.returncode == returned
    assert code == POINT or "0 points" in out
    assert ends(helpers)
    assert not list(tmp_path.rglob("*.tmp")) or returned  # a killed helper may leave one


RUN = ("import sys, wavesim as ws; from wavesim.__main__ import run; "
       "run(['run', str(ws.demo_path('collector')), '--out', sys.argv[1]])")


@pytest.mark.nightly
@pytest.mark.parametrize(("code", "returned"), [(POINT, -signal.SIGINT), (RUN, 130)],
                         ids=["point", "run"])
def test_interruption_works_soon_where_no_kernel_can_be_kept(tmp_path, code, returned):
    """Then they are compiled in the process itself, which listens between two steps only."""
    (tmp_path / "file").write_text("")
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "out")], text=True, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, env=os.environ | {"WAVESIM_CACHE": str(tmp_path / "file" / "x")},
    )
    while "compiled first" not in process.stderr.readline():
        assert process.poll() is None
    time.sleep(2.0)
    process.send_signal(signal.SIGINT)
    clock = time.monotonic()
    process.communicate(timeout=60)
    assert time.monotonic() - clock < 8.0 and process.returncode == returned


def test_helpers_end_with_a_parent_that_is_killed(tmp_path):
    process, helpers = compiling(POINT, tmp_path)
    process.kill()
    process.communicate()
    assert ends(helpers)


def test_helper_imports_nothing_from_the_working_directory(tmp_path, monkeypatch):
    here, mark = tmp_path / "here", tmp_path / "mark"
    here.mkdir()
    for name in ("numba", "numpy", "json", "wavesim", "tqdm", "random", "site", "sitecustomize"):
        (here / f"{name}.py").write_text(f"open({str(mark)!r}, 'a').write({name!r})\n")
    monkeypatch.chdir(here)
    for path in ("", ":", ".", f"{here}"):
        monkeypatch.setenv("PYTHONPATH", path)
        monkeypatch.setattr(sys, "path", ["", ".", str(here), *sys.path])
        monkeypatch.setattr(precompile, "_START", precompile._START.replace(
            "help_out(share, int(parent))",
            "import numba, random; open(share, 'w').write(package.__file__)",
        ))
        helper = precompile._helper(str(tmp_path / "done"))
        helper.communicate(timeout=60)
        assert helper.returncode == 0 and not mark.exists()
        assert (tmp_path / "done").read_text() == str(precompile._PACKAGE / "__init__.py")


@pytest.mark.slow
def test_share_of_the_helper_is_found_in_the_cache(tmp_path):
    code = "from wavesim.march.precompile import ENDS, compile_share; compile_share(ENDS)"
    environment = os.environ | {"WAVESIM_CACHE": str(tmp_path)}
    subprocess.run([sys.executable, "-c", code], check=True, env=environment)
    for name in ("nodes.solve_ends", "stores.stores_ahead", "stores.stores_step"):
        assert list(tmp_path.rglob(f"{name}-*.nbc")), name


@pytest.mark.slow
def test_march_of_the_helpers_is_found_in_the_cache(tmp_path):
    code = POINT + ("; from wavesim.kernels.march import march; "
                    "print(march.stats.cache_hits.total(), march.stats.cache_misses.total())")
    environment = os.environ | {"WAVESIM_CACHE": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], check=True, env=environment,
                          capture_output=True, text=True)
    assert done.stdout == "1 0\n" and done.stderr.count("\n") == 1
