"""The cache of the kernels: the damaged is compiled anew, what others could change is not used."""

import os
import random
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from wavesim.kernels import jit

WORKER = Path(__file__).with_name("cache_worker.py")
COMPILED, FOUND = "0 1\n", "1 0\n"


def compile_one(cache, **options):
    """Compile the small kernel in another process; what it prints, and what it remarks."""
    done = subprocess.run(
        [sys.executable, str(WORKER)], capture_output=True, text=True, timeout=120,
        env=os.environ | {"WAVESIM_CACHE": str(cache)}, **options,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout, done.stderr


@pytest.fixture
def filled(tmp_path):
    """A cache with the kernel in it, and its file."""
    cache = tmp_path / "cache"
    assert compile_one(cache) == (COMPILED, "")
    (path,) = cache.rglob("*half_slope*")
    return cache, path


def test_kernel_is_compiled_once(filled):
    assert compile_one(filled[0]) == (FOUND, "")


DAMAGES = {
    "empty": lambda data: b"", "cut short": lambda data: data[: len(data) // 2],
    "bit in the machine code": lambda data: flipped(data, len(data) // 2),
    "text": lambda data: b"not a kernel", "zeros": lambda data: bytes(len(data)),
    "last byte": lambda data: data[:-1], "one more": lambda data: data + b"x",
    "bit at the start": lambda data: bytes([data[0] ^ 1]) + data[1:],
    "bit in the hash": lambda data: flipped(data, len(data) - 5),
}  # fmt: skip


def flipped(data, place):
    return data[:place] + bytes([data[place] ^ 8]) + data[place + 1 :]


@pytest.mark.parametrize("how", [
    *list(DAMAGES)[:3], *(pytest.param(how, marks=pytest.mark.nightly) for how in list(DAMAGES)[3:])
])
def test_damaged_file_is_deleted_and_compiled_anew_with_one_line(filled, how):
    cache, path = filled
    sound = path.read_bytes()
    path.write_bytes(DAMAGES[how](sound))
    seen, said = compile_one(cache)
    assert seen == COMPILED and said.count("\n") == 1 and "damaged" in said
    assert path.read_bytes() != DAMAGES[how](sound)
    assert compile_one(cache) == (FOUND, "")


def test_no_flipped_bit_is_ever_executed(tmp_path, monkeypatch, capsys):
    """The hash is looked at before anything else is."""
    monkeypatch.setattr(jit, "FOLDER", str(tmp_path))
    path, chance = tmp_path / "a.nbc", random.Random(5)
    content = bytes(range(256)) * 20
    for _ in range(200):
        jit._write(path, content)
        whole = path.read_bytes()
        assert jit._content(path) == content
        path.write_bytes(flipped(whole, chance.randrange(len(whole))))
        assert jit._content(path) is None and not path.exists()
    assert capsys.readouterr().err.count("\n") <= 1


def test_folder_in_the_place_of_a_file_is_left_and_nothing_is_kept(filled):
    cache, path = filled
    path.unlink()
    path.mkdir()
    seen, said = compile_one(cache)
    assert seen == COMPILED and path.is_dir() and "cannot be kept" in said
    assert "Traceback" not in said and not list(cache.rglob("*.tmp"))


def test_without_space_kernels_are_compiled_and_not_kept(tmp_path):
    """No file may grow beyond 100 bytes, which is a full disk without a disk."""
    def no_space():
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    for _ in range(2):
        seen, said = compile_one(tmp_path, preexec_fn=no_space)
        assert seen == COMPILED and said.count("\n") == 1 and "cannot be kept" in said
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_cache_that_cannot_be_made_costs_the_cache_only(tmp_path):
    (tmp_path / "file").write_text("")
    for cache in (tmp_path / "file" / "cache", tmp_path / ("x" * 300)):
        assert compile_one(cache) == (COMPILED, "")


# --- whose folder it is ---------------------------------------------------------------------------


def chosen(monkeypatch, cache, name="WAVESIM_CACHE"):
    """Folder and obstacle, were the library loaded with this cache."""
    monkeypatch.delenv("WAVESIM_CACHE", raising=False)
    monkeypatch.setenv(name, str(cache))
    return jit._cache_folder()


def test_folder_is_made_for_the_user_alone(tmp_path, monkeypatch):
    before = os.umask(0)
    try:
        folder, obstacle = chosen(monkeypatch, tmp_path / "cache")
    finally:
        os.umask(before)
    assert obstacle is None and os.stat(folder).st_mode & 0o777 == 0o700


@pytest.mark.parametrize("mode", [0o777, 0o770, 0o702])
def test_folder_to_which_others_may_write_is_not_used(tmp_path, monkeypatch, mode):
    folder, _ = chosen(monkeypatch, tmp_path / "cache")
    os.chmod(folder, mode)
    assert "others could change" in chosen(monkeypatch, tmp_path / "cache")[1]
    os.chmod(folder, 0o700)
    os.chmod(tmp_path / "cache", mode)  # there they could put another folder in its place
    assert "others could change" in chosen(monkeypatch, tmp_path / "cache")[1]
    os.chmod(tmp_path / "cache", mode | 0o1000)  # but not in a folder like /tmp
    assert chosen(monkeypatch, tmp_path / "cache")[1] is None


def test_folder_of_another_user_is_not_used(tmp_path, monkeypatch):
    chosen(monkeypatch, tmp_path / "cache")
    monkeypatch.setattr(jit.os, "getuid", lambda: 12345)
    assert "others could change" in chosen(monkeypatch, tmp_path / "cache")[1]


def test_link_in_the_place_of_the_folder_is_not_used(tmp_path, monkeypatch):
    folder, _ = chosen(monkeypatch, tmp_path / "cache")
    os.rename(folder, tmp_path / "elsewhere")
    os.symlink(tmp_path / "elsewhere", folder)
    assert "others could change" in chosen(monkeypatch, tmp_path / "cache")[1]


def test_folder_of_the_library_itself_is_closed_to_others(tmp_path, monkeypatch):
    """In the usual place, where an earlier version may have left it open."""
    (tmp_path / "wavesim").mkdir()
    os.chmod(tmp_path / "wavesim", 0o775)
    assert chosen(monkeypatch, tmp_path, "XDG_CACHE_HOME")[1] is None
    assert os.stat(tmp_path / "wavesim").st_mode & 0o777 == 0o755


def test_what_cannot_be_kept_is_told_before_the_compilation(tmp_path):
    cache = tmp_path / "cache"
    cache.mkdir()
    cache.chmod(0o777)
    code = "from wavesim.march import precompile; precompile._announce()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          env=os.environ | {"WAVESIM_CACHE": str(cache)})
    assert "cannot be kept (others could change what is in" in done.stderr
    assert done.stderr.count("\n") == 1
