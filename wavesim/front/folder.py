"""A folder of results that knows which files it wrote, and replaces no others.

The list ".wavesim/files.json" in the folder holds the name of every file that was written there
and the SHA-256 of its content.  A file that is not in the list, or whose content is another one,
belongs to somebody else or was changed since: it is left alone, and so is the folder as a whole,
before anything is computed for it.

All files of a report are first written into a folder of their own inside ".wavesim".  Then their
hashes join the older ones in the list, and they are moved.  Whenever this is cut short, every file
in place is complete and known.
"""

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import time
from pathlib import Path

from wavesim.errors import InputError, shown_path
from wavesim.reading import read_text
from wavesim.writing import PlaceTaken, as_path, sync_folder, whole_file

DESK = ".wavesim"  # folder in the folder for the list and for what is not finished yet
LIST = "files.json"
FORMAT = "wavesim files 1"
_STAGE = "writing-"
_ROOM = ".room"  # in there, for the list
_LIST_SIZE = 2**14  # [byte], more than any list
_REMEMBERED = 4  # hashes of a file: two processes may write it at the same time
_LEFT_BEHIND = 3600.0  # [s] age at which a folder of unfinished files has lost its process


def make_folder(folder):
    """The folder as a Path, made with its parents if it is not there.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    folder = as_path("results", folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or error
        raise InputError(f"cannot make the folder {shown_path(folder)}: {reason}.") from error
    return folder


class ResultFolder:
    """Folder for results, made if it is not there.

    Parameters
    ----------
    folder : str or Path
    inputs : iterable of Path
        Files that must not be overwritten, whoever wrote them.

    Attributes
    ----------
    path : Path

    Raises
    ------
    InputError
        If it cannot be made, or nothing can be written there.
    """

    def __init__(self, folder, inputs=()):
        self.path = make_folder(folder)
        self.desk = self.path / DESK
        self.inputs = tuple(inputs)
        try:
            os.rmdir(self._new_stage())
            self._sweep_up()
        except OSError as error:
            raise InputError(
                f"cannot write to the folder {shown_path(self.path)}: {error.strerror or error}."
            ) from error
        self.known = self._read_list()

    def check(self, names):
        """Refuse to go on if one of these files is there and is not ours to replace.

        Parameters
        ----------
        names : iterable of str

        Raises
        ------
        InputError
            That names the first such file.
        """
        for name in names:
            self._check(name)

    def write(self, files, is_over=lambda: False):
        """Write files, as many as possible.

        Parameters
        ----------
        files : dict of str to callable
            By name a function that writes the file to the path it is given.
        is_over : callable
            Asked before each file; once it says True all is left as it was.

        Returns
        -------
        written : list of Path
        failed : dict of str to str
            Why a file was not written, by its name.

        Raises
        ------
        KeyboardInterrupt
            If `is_over` said so.
        """
        written, made, failed = [], {}, {}
        try:
            stage = self._new_stage()
        except OSError as error:
            return [], dict.fromkeys(files, _reason(error))
        try:
            with contextlib.suppress(OSError):
                (stage / _ROOM).write_bytes(bytes(_LIST_SIZE))  # on a disk that fills up
            for name, write in files.items():
                if is_over():
                    raise KeyboardInterrupt
                try:
                    write(stage / name)
                    made[name] = _hash_of(stage / name)
                except Exception as error:  # one figure that fails must not cost the others
                    failed[name] = _reason(error)
            (stage / _ROOM).unlink(missing_ok=True)
            self._remember(made)
            for name in made:
                try:
                    self._check(name)
                    os.replace(stage / name, self.path / name)
                    written.append(self.path / name)
                except (InputError, OSError) as error:
                    failed[name] = _reason(error)
        finally:
            shutil.rmtree(stage, ignore_errors=True)
        sync_folder(self.path)
        return written, failed

    def _check(self, name):
        place = self.path / name
        if not os.path.lexists(place):
            return
        if any(_is_same(place, path) for path in self.inputs):
            raise PlaceTaken(
                f"{shown_path(place)} is read by the study and would be overwritten by the "
                "results; give another folder for them."
            )
        try:
            is_own = place.is_file() and _hash_of(place) in self.known.get(name, ())
        except OSError:
            is_own = False
        if not is_own:
            raise PlaceTaken(
                f"{shown_path(place)} was not written by wavesim or was changed since, and is left "
                "alone; move it away or give another folder for the results."
            )

    def _remember(self, made):
        """Put hashes on the list.  Without it the results are still written: the next run will ask.

        Another process may have written here in the meantime.
        """
        with contextlib.suppress(InputError):
            self.known = self._read_list()
        for name, digest in made.items():
            self.known[name] = [*self.known.get(name, ()), digest][-_REMEMBERED:]
        with contextlib.suppress(InputError), whole_file(
            self.desk / LIST, "results", text=True, is_own=lambda _: True
        ) as file:
            json.dump({"format": FORMAT, "files": self.known}, file, indent=1)

    def _read_list(self):
        """Hashes by name of the file, the newest last."""
        path = self.desk / LIST
        if not os.path.lexists(path):
            return {}
        try:
            found = json.loads(read_text(path, "results"))
            if found["format"] == FORMAT:
                return {name: list(map(str, some)) for name, some in found["files"].items()}
        except Exception:  # somebody else's file may hold anything
            pass
        raise PlaceTaken(
            f"{shown_path(path)} is not the list of results that wavesim writes, and is left "
            "alone; move it away or give another folder for the results."
        )

    def _new_stage(self):
        self.desk.mkdir(exist_ok=True)
        return Path(tempfile.mkdtemp(prefix=_STAGE, dir=self.desk))

    def _sweep_up(self):
        """Remove what processes left behind that were killed while they wrote."""
        for stage in self.desk.glob(f"{_STAGE}*"):
            with contextlib.suppress(FileNotFoundError):
                if time.time() - stage.lstat().st_mtime > _LEFT_BEHIND:
                    shutil.rmtree(stage, ignore_errors=True)


def _reason(error):
    """Why a file was not written: the words of the system, if it is to blame."""
    system = error if isinstance(error, OSError) else error.__cause__
    return getattr(system, "strerror", None) or str(error)


def _hash_of(path):
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _is_same(a, b):
    try:
        return os.path.samefile(a, b)
    except OSError:
        return False
