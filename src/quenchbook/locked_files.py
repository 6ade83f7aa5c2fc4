"""A file that one program alone writes to.

The lock is that of the operating system: it ends with the program, however that ends. Some network
drives know no locks; there a second writer is not noticed.
"""

from __future__ import annotations

import errno
import os
import sys
from typing import IO, Any, Final

_HELD: Final = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)  # another one holds it
_PLACE: Final = 1 << 40  # byte that is locked on Windows: far beyond what is read or written


def locked_alone(file: IO[Any]) -> bool:
    """Lock an open file until it is closed; False if another one holds it.

    Parameters
    ----------
    file : binary file, open for writing
    """
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(_PLACE)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno not in _HELD
    finally:
        file.seek(0, os.SEEK_END)
    return True
