"""Arrays and a JSON header in one .npz file, without pickle.

The last member, "seal", is a hash of the check sums of all others: a file that was cut, or changed
by another program, is noticed.  Nothing is unpacked before its size is known.
"""

import contextlib
import hashlib
import json
import math
import zipfile
from contextlib import contextmanager

import numpy as np
from numpy.lib import format as npy

from wavesim.errors import InputError, shown_path
from wavesim.reading import open_file
from wavesim.writing import whole_file

_SLACK = 2**28  # [byte] that any file may unpack to
_RATIO = 100  # times its own size that a larger one may unpack to
_LEVEL = 4  # of compression: higher ones take twice the time for 2 %
_NUMBERS = "biuf"  # kinds of arrays that are read


def save_npz(path, owner, arrays, header):
    """Write arrays and a header to a compressed file.

    Parameters
    ----------
    path : str or Path
    owner : str
        Who writes, for messages.
    arrays : dict of str to ndarray
    header : dict
        Plain data; its "format" begins with "wavesim".

    Raises
    ------
    InputError
        If the file cannot be written, or another one is there that the library did not write.
    """
    with whole_file(path, owner, is_own=_is_own) as file:
        write_npz(file, arrays, header, compress=True)


def write_npz(file, arrays, header, *, compress):
    """Arrays and a JSON header into an open file."""
    method = zipfile.ZIP_DEFLATED if compress else zipfile.ZIP_STORED
    with zipfile.ZipFile(file, "w", method, compresslevel=_LEVEL if compress else None) as archive:
        for name, array in arrays.items():
            _write_array(archive, name, np.asanyarray(array))
        _write_array(archive, "header", _bytes(json.dumps(header)))
        _write_array(archive, "seal", _bytes(_seal(archive.infolist())))


def _bytes(text):
    return np.frombuffer(text.encode(), dtype=np.uint8)


def _write_array(archive, name, array):
    # by its name, which brings the level of the archive and no time of day: same results, same file
    with archive.open(f"{name}.npy", "w", force_zip64=True) as file:
        npy.write_array(file, array, allow_pickle=False)


def _seal(members):
    """Hash of the names, sizes and check sums of all members but the seal itself."""
    sums = sorted((m.filename, m.file_size, m.CRC) for m in members if m.filename != "seal.npy")
    return hashlib.sha256(json.dumps(sums).encode()).hexdigest()


def read_npz(path, form, owner, *, sealed=False):
    """Arrays and header of a file that `write_npz` has written.

    Parameters
    ----------
    path : str or Path
    form : str or tuple of str
        What the header calls its format; of several any will do.
    owner : str
        Class whose method writes such files, for messages.
    sealed : bool
        True refuses files without a seal, as earlier versions wrote them.

    Returns
    -------
    arrays : dict of str to ndarray
    header : dict

    Raises
    ------
    InputError
        If the file is missing, damaged or of another kind.
    """
    with open_file(path, owner) as file, intact(path, owner):
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
            _check_sizes(members, file.seek(0, 2))
            arrays = {m.filename.removesuffix(".npy"): _array(archive, m) for m in members}
        seal = arrays.pop("seal", None)
        if (sealed or seal is not None) and bytes(seal).decode() != _seal(members):
            raise ValueError("the seal is broken")
        header = json.loads(bytes(arrays.pop("header")).decode())
        form_there = header.get("format")
    known = (form,) if isinstance(form, str) else form
    if form_there not in known:
        raise InputError(f"{owner}: {shown_path(path)} does not hold the format {known[0]!r}.")
    return arrays, header


@contextmanager
def intact(path, owner):
    """Turn whatever a damaged file raises inside the block into InputError."""
    try:
        yield
    except Exception as error:
        raise InputError(
            f"{owner}: {shown_path(path)} is damaged or was not written by {owner}.save."
        ) from error


def _check_sizes(members, size):
    """Refuse an archive that would fill the memory."""
    unpacked = sum(member.file_size for member in members)
    if unpacked > max(_SLACK, _RATIO * size):
        raise ValueError("the archive is made to burst")
    if len({member.filename for member in members}) != len(members):
        raise ValueError("two members have the same name")


def _array(archive, member):
    """One array, after a look whether it is as large as its head says."""
    with archive.open(member) as file:
        version = npy.read_magic(file)
        read_head = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
        shape, _, dtype = read_head(file)
        size = math.prod(shape) * dtype.itemsize
        if dtype.kind not in _NUMBERS or size != member.file_size - file.tell():
            raise ValueError("an array is not what its head says")
        file.seek(0)
        return npy.read_array(file, allow_pickle=False)


def _is_own(path):
    """True if a file has the header of one that the library wrote."""
    with contextlib.suppress(Exception), zipfile.ZipFile(path) as archive:
        member = archive.getinfo("header.npy")
        _check_sizes([member], path.stat().st_size)
        header = json.loads(bytes(_array(archive, member)).decode())
        return str(header["format"]).startswith("wavesim ")
    return False
