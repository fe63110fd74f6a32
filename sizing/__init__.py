"""The engineering of a solar well pump: arrays in, arrays out."""

import hashlib
import os
import shutil
import tempfile
from pathlib import Path

import numba


def _keep_compiled_code_apart():
    """Compiled loops are kept on disk under a digest of this package's source.

    The compiler's own cache looks only at the file in which a loop stands, not at those it calls in other files, and
    so would go on running old equations after a change. NUMBA_CACHE_DIR, where set, is the folder used.
    """
    here = Path(__file__).parent
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(here.rglob("*.py")):
        digest.update(source.read_bytes())
    name = f"compiled-{digest.hexdigest()[:16]}"
    given = os.environ.get("NUMBA_CACHE_DIR")
    for base in [Path(given)] if given else [here / "__pycache__", Path(tempfile.gettempdir()) / "sizing-compiled"]:
        try:
            (base / name).mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError:
            continue
        if os.access(base / name, os.W_OK) and _ours(base) and _ours(base / name):
            numba.config.CACHE_DIR = str(base / name)
            _forget_old(base, keep=base / name)
            return


def _ours(folder):
    """Whether the folder belongs to who runs this: compiled code that others could have put there is not taken."""
    return not hasattr(os, "getuid") or folder.stat().st_uid == os.getuid()


def _forget_old(base, keep):
    """Leaves the folders of compiled loops made within the hour, in which another process may still be writing; of the
    older ones the three newest. One that is missed is only compiled again."""
    try:
        folders = sorted(base.glob("compiled-*"), key=lambda folder: folder.stat().st_mtime, reverse=True)
        old = [f for f in folders[3:] if f != keep and f.stat().st_mtime < keep.stat().st_mtime - 3600]
    except OSError:  # another process is tidying up
        return
    for folder in old:
        shutil.rmtree(folder, ignore_errors=True)


def compiled(**how):
    """Decorator for the loops of this package: kept on disk, free of the interpreter, and dividing as NumPy does (by
    zero gives infinity or NaN, never an exception in the middle of a fleet)."""
    return numba.njit(cache=True, nogil=True, error_model="numpy", **how)


_keep_compiled_code_apart()
