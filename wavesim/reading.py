"""Files that are read: ordinary ones only, and texts in whatever encoding they were written.

A file of a stranger may be a pipe that never ends, a device, a picture with the name of a table, or
larger than the memory; here that becomes one sentence.  No message repeats what a file holds.
"""

import codecs
import os
import stat

from wavesim.errors import InputError, shown_path
from wavesim.writing import as_path

LARGEST_TEXT = 2**24  # [byte] of a table: some million lines

_MARKS = (  # the longer ones first: that of UTF-32 begins like that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
_CONTROLS = frozenset(range(32)) - frozenset(b"\t\n\v\f\r")


def open_file(path, owner):
    """Binary file to read from.

    Parameters
    ----------
    path : str or Path
    owner : str
        Who reads, for messages.

    Raises
    ------
    InputError
        If it is not there, cannot be read, or is no ordinary file.
    """
    path = as_path(owner, path)
    try:
        # Opening a pipe would wait until somebody writes into it.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise _cannot_read(path, owner, error) from error
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise InputError(f"{owner}: {shown_path(path)} is no ordinary file.")
    return open(handle, "rb")


def _cannot_read(path, owner, error):
    missing = isinstance(error, FileNotFoundError)
    reason = ": there is none" if missing else f": {error.strerror or error}"
    return InputError(f"{owner}: cannot read the file {shown_path(path)}{reason}.")


def read_text(path, owner, largest=LARGEST_TEXT):
    """Text of a file, with line ends "\\n".

    Parameters
    ----------
    path : str or Path
    owner : str
        Who reads, for messages.
    largest : int
        Most bytes that it may have.

    Returns
    -------
    str
        Decoded by its byte order mark, else as UTF-8, UTF-16, or Windows-1252, which holds
        Latin-1, whichever fits first.

    Raises
    ------
    InputError
        If the file cannot be read, is too large or holds no text.
    """
    with open_file(path, owner) as file:
        try:
            data = file.read(largest + 1)
        except OSError as error:
            raise _cannot_read(path, owner, error) from error
    if len(data) > largest:
        raise InputError(f"{owner}: the file is larger than {largest >> 20} MB, more than any such "
                         "file needs.")
    text = _decoded(data)
    if text is None:
        raise InputError(f"{owner}: the file holds no text; save it as text in UTF-8.")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _decoded(data):
    """Text of some bytes, or None if they are none."""
    for encoding in _encodings(data):
        try:
            text = data.decode(encoding)
        except UnicodeError:
            continue
        if _CONTROLS.isdisjoint(map(ord, set(text))):
            return text
    return None


def _encodings(data):
    """What the bytes may be written in, the most likely first."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return (encoding,)
    if b"\0" in data[:1000]:  # letters of two bytes: every other one is empty
        return ("utf-16-le",) if data[1:2] == b"\0" else ("utf-16-be",)
    return ("utf-8", "cp1252")
