"""Run a command in a world that holds Python and this project, and nothing else.

Started as root (of a user namespace is enough) by::

    unshare --mount --net --pid --fork --kill-child python bare_machine.py FOLDER COMMAND...

The root folder becomes an empty one. Into it go, read-only, the interpreter, its packages, the
project and the machine's shared libraries: no fonts, no font settings, no browser, no shell, no
locale, no time zone, no user, no home, no network. Only FOLDER can be written.
"""

from __future__ import annotations

import fcntl
import os
import socket
import struct
import subprocess
import sys
from pathlib import Path

LIBRARIES = ("/usr/lib", "/lib", "/usr/lib64", "/lib64")
"""Folders of shared libraries; of those that hold one for each architecture, only these."""

DEVICES = ("null", "zero", "random", "urandom")
NOBODY = 65534
UP = 0x8913, 0x8914  # SIOCGIFFLAGS, SIOCSIFFLAGS of linux/sockios.h


def main() -> None:
    folder, *command = sys.argv[1:]
    loopback()
    world = Path(folder) / "world"
    world.mkdir()
    mount("-t", "tmpfs", "tmpfs", world)
    for path in shown():
        place = world / path.relative_to("/")
        place.mkdir(parents=True)
        mount("--bind", path, place)
        mount("-o", "remount,bind,ro", place)
    (world / "dev").mkdir()
    for name in DEVICES:
        place = world / "dev" / name
        place.touch()
        mount("--bind", f"/dev/{name}", place)
    (world / "proc").mkdir()
    mount("-t", "proc", "proc", world / "proc")
    (world / "tmp").mkdir(exist_ok=True)  # the project may lie below it
    (world / "tmp").chmod(0o1777)
    (world / "bench").mkdir()
    mount("--bind", Path(folder) / "work", world / "bench")
    for name in ("lib", "lib64"):  # links into /usr/lib on a merged system
        real, own = Path("/") / name, world / name
        if real.is_symlink() and not own.exists():
            own.symlink_to(os.readlink(real))
    os.chroot(world)
    os.chdir("/bench")
    if os.environ.pop("AS_NOBODY", ""):
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    os.execv(command[0], command)


def shown() -> list[Path]:
    """Folders that the new world has: interpreter, packages, project, libraries."""
    project = Path(__file__).resolve().parents[2]
    found = [
        Path(sys.base_prefix),
        Path(sys.prefix),
        project / "src",
        project / "data",
        project / "notebooks",
    ]
    for name in LIBRARIES:
        path = Path(name)
        if path.is_dir() and not path.is_symlink():
            architecture = [own for own in path.iterdir() if own.name.endswith("-linux-gnu")]
            found += architecture or [path]
    found += [Path(own) for own in os.environ.get("PYTHONPATH", "").split(":") if own]
    kept: list[Path] = []
    for path in sorted({own.resolve() for own in found}):
        if not any(path.is_relative_to(own) for own in kept):
            kept.append(path)
    return kept


def mount(*arguments: str | Path) -> None:
    subprocess.run(["mount", *map(str, arguments)], check=True)


def loopback() -> None:
    """The notebook's kernel speaks over 127.0.0.1, the only network there is."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as own:
        request = struct.pack("16sH14s", b"lo", 0, b"")
        flags = struct.unpack("16sH14s", fcntl.ioctl(own, UP[0], request))[1]
        fcntl.ioctl(own, UP[1], struct.pack("16sH14s", b"lo", flags | 1, b""))


if __name__ == "__main__":
    main()
