"""Files that are written whole or not at all, and that replace nothing of the user's.

All that the library writes goes through `whole_file`: into a file of another name beside its
place, to the disk, and only then to its place.  Whatever happens before, a full disk or a power
cut, what was there before is still there.

A file that is there already is replaced only if the library wrote it.  It knows its own by a mark:
the header of an .npz file, the creator noted in a figure, and a line in a table or a study, which
also tells whether it was edited since.
"""

import contextlib
import hashlib
import os
import secrets
import stat
import warnings
from contextlib import contextmanager
from pathlib import Path

from wavesim._version import __version__
from wavesim.errors import InputError, check_number, shown, shown_path

TEMPORARY = r"\.wavesim-[0-9a-f]{16}\.tmp"  # pattern of the names of unfinished files
_MARK = b"made by wavesim"
MAKER = f"{_MARK.decode()} {__version__}"  # is noted in pictures and sounds
_SIGNED = "## Written by wavesim, which replaces this file as long as nobody edits it: "
_LARGEST_TEXT = 2**28  # [byte]; what is larger is none of ours
_NOTES = 4000  # [byte] at the start or end of such a file, in which its maker is noted
_TEXT = {"mode": "w", "encoding": "utf-8", "errors": "backslashreplace", "newline": ""}
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(
    os, "O_BINARY", 0
)


class PlaceTaken(InputError):
    """A file is there already that the library did not write."""


def as_path(owner, path):
    """`path` as a Path, refusing what cannot be the name of a file.

    Parameters
    ----------
    owner : str
        Who asks, for messages.
    path : str or Path

    Raises
    ------
    InputError
        If it is no text, empty, or holds a character that no file name can have.

    Examples
    --------
    >>> as_path("Sweep.save", "a.npz").suffix
    '.npz'
    """
    if not isinstance(path, (str, Path)):
        raise InputError(f"{owner}: path = {shown(path)} must be a str or a Path.")
    try:
        usable = bool(os.fsencode(path)) and "\0" not in str(path)
    except UnicodeError:
        usable = False
    if not usable:
        raise InputError(f"{owner}: path = {shown_path(path)} cannot be the name of a file.")
    return Path(path)


def no_mark(path):
    """For `whole_file`: no file that is there already is taken for one of the library."""
    return False


def begins_with(mark):
    """For `whole_file`: a file is one of the library if it begins with some bytes."""

    def is_own(path):
        with open(path, "rb") as file:
            return file.read(len(mark)) == mark

    return is_own


@contextmanager
def whole_file(path, owner, *, text=False, is_own=no_mark):
    """Open file to write into, which comes to its place when the block ends without an error.

    Parameters
    ----------
    path : str or Path
        A link is followed.  What is no ordinary file, such as "/dev/stdout", is written directly.
    owner : str
        Who writes, for messages.
    text : bool
        True opens a text file in UTF-8, without translation of line ends.
    is_own : callable
        Tells by its path whether a file that is there already may be replaced.  An empty one may.

    Raises
    ------
    InputError
        If the file cannot be written.
    PlaceTaken
        If another one is there that the library did not write.
    """
    path = as_path(owner, path)
    mode = _TEXT if text else {"mode": "wb"}
    try:
        place = Path(os.path.realpath(path))
        if place.exists() and not place.is_file() and not place.is_dir():
            with open(place, **mode) as file:
                yield file
            return
        check_free(place, owner, is_own)
        unfinished = place.with_name(f".wavesim-{secrets.token_hex(8)}.tmp")
        try:
            with open(os.open(unfinished, _NEW, 0o666), **mode) as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            _move(unfinished, place, owner, is_own)
        finally:
            with contextlib.suppress(OSError):
                unfinished.unlink(missing_ok=True)
        sync_folder(place.parent)
    except OSError as error:
        raise cannot_write(owner, path, error) from error


def cannot_write(owner, path, error):
    """InputError for a file or folder that cannot be written, with the reason of the system."""
    return InputError(f"{owner}: cannot write {shown_path(path)}: {error.strerror or error}.")


def check_free(place, owner, is_own):
    """Refuse a place that is taken by anything but a file of the library."""
    if not place.exists():
        return
    if place.is_dir():
        raise InputError(f"{owner}: cannot write {shown_path(place)}: it is a folder.")
    if place.stat().st_size and not is_own(place):
        raise PlaceTaken(
            f"{owner}: {shown_path(place)} was not written by wavesim or was changed since, and "
            "is left alone; give another name or move it away."
        )


def _move(unfinished, place, owner, is_own):
    """Give a finished file its name, which may have been taken in the meantime."""
    try:
        os.link(unfinished, place)  # never replaces anything, as a rename would
        return
    except FileExistsError:
        check_free(place, owner, is_own)
        os.chmod(unfinished, stat.S_IMODE(place.stat().st_mode))
    except OSError:  # a disk without links
        check_free(place, owner, is_own)
    os.replace(unfinished, place)


def sync_folder(folder):
    """Flush the folder itself, so that a new name survives a power cut; not all systems can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_signed(path, owner, before, after=""):
    """Write a text that is known again as long as nobody edits it.

    Parameters
    ----------
    path : str or Path
    owner : str
        Who writes, for messages.
    before, after : str
        What stands before and after the line with a hash of both, which begins with "#": the form
        of the file must take it for a remark.

    Raises
    ------
    InputError
        As `whole_file`.
    """
    digest = _hash((before + after).encode(errors=_TEXT["errors"]))
    with whole_file(path, owner, text=True, is_own=is_unedited) as file:
        file.write(f"{before}{_SIGNED}{digest}\n{after}")


def _hash(content):
    return hashlib.sha256(content).hexdigest()[:32]


def is_unedited(path):
    """For `whole_file`: a signed text is one of the library as long as nobody edited it."""
    if path.stat().st_size > _LARGEST_TEXT:
        return False
    before, _, rest = path.read_bytes().partition(_SIGNED.encode())
    digest, _, after = rest.partition(b"\n")
    return digest.decode(errors="replace") == _hash(before + after)


#: What the formats of figures call the program that made them.
_CREATOR = {".png": "Software", ".pdf": "Creator", ".svg": "Creator", ".eps": "Creator",
            ".ps": "Creator"}


def write_figure(figure, path, dpi):
    """Write a matplotlib figure.

    Parameters
    ----------
    figure : matplotlib Figure
    path : str or Path
        The suffix decides the format.  Only .png, .pdf, .svg, .eps and .ps hold the mark by which
        the library knows its own; a file of another format is never replaced.
    dpi : float
        Dots per inch of a pixel format, 10 to 2400.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the format is unknown, the file cannot be written, or another one is there.
    """
    owner, path = "save_figure", as_path("save_figure", path)
    dpi = check_number(owner, "dpi", dpi, "1/inch", 10.0, 2400.0)
    kind = path.suffix.lower()
    if kind[1:] not in figure.canvas.get_supported_filetypes():
        raise InputError(f"{owner}: cannot write {shown_path(path)}: its suffix must be one of "
                         f"{', '.join(_CREATOR)} or another that matplotlib knows.")
    known = kind in _CREATOR
    mark = {"metadata": {_CREATOR[kind]: MAKER}} if known else {}
    with (
        whole_file(path, owner, is_own=holds_mark if known else no_mark) as file,
        warnings.catch_warnings(),
    ):
        # A letter that the font lacks is drawn as a box.
        warnings.filterwarnings("ignore", "Glyph .* missing from", UserWarning)
        try:
            figure.savefig(file, format=kind[1:], dpi=dpi, **mark)
        except ValueError as error:
            reason = str(error).splitlines()[0]
            raise InputError(f"{owner}: cannot draw {shown_path(path)}: {reason}.") from error
    return path


def write_gif(path, owner, content):
    """Write an animation, with a remark in it by which the library knows its own.

    Parameters
    ----------
    path : str or Path
        Its suffix must be .gif.
    owner : str
        Who writes, for messages.
    content : bytes
        A finished GIF file.  The remark is a comment extension before its trailer (GIF89a
        specification, 1990, sec. 24).

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the suffix is another, the file cannot be written, or another one is there.
    """
    path = check_gif(path, owner)
    note = MAKER.encode()
    with whole_file(path, owner, is_own=holds_mark) as file:
        file.write(content[:-1] + b"\x21\xfe" + bytes([len(note)]) + note + b"\x00" + content[-1:])
    return path


def check_gif(path, owner):
    """The path of an animation that can be written: of that suffix, and no file of another."""
    path = as_path(owner, path)
    if path.suffix.lower() != ".gif":
        raise InputError(f"{owner}: cannot write {shown_path(path)}: its suffix must be .gif.")
    check_free(Path(os.path.realpath(path)), owner, holds_mark)
    return path


def holds_mark(path):
    """For `whole_file`: a picture or a sound is one of the library if it notes its maker."""
    with open(path, "rb") as file:
        head = file.read(_NOTES)
        file.seek(max(0, path.stat().st_size - _NOTES))
        return _MARK in head + file.read(_NOTES)
