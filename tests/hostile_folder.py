"""Reads a study folder with an audit hook that writes down what a reader has no business to do.

Run as a program: ``python hostile_folder.py FOLDER``; prints one JSON list of events.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

RUNS = (
    "subprocess.Popen", "os.system", "os.exec", "os.spawn", "os.posix_spawn", "os.fork",
    "os.startfile", "socket.connect", "socket.bind", "socket.getaddrinfo", "urllib.Request",
    "pickle.find_class", "marshal.loads", "ctypes.dlopen", "shutil.rmtree", "os.remove",
    "os.rename", "os.chmod", "os.link", "os.symlink", "code.__new__",
)  # fmt: skip


def main(folder: str) -> None:
    import quenchbook as qb
    from quenchbook.errors import QuenchbookError
    from quenchbook.study_folder import resource

    def read_all(place: Path, library: Path) -> None:
        study = qb.read_study(place)
        matrix = qb.read_plan(place / "plan", study)
        qb.read_records(place / "records", matrix)
        qb.read_evidence(place, study)
        qb.read_studies(library, cache=False)

    def look_at(place: Path) -> None:
        repr(qb.study_progress(place)._repr_html_())
        qb.study_edits(place)
        book = qb.entry_book(place)
        book.next_coupon(book.study.responses[0].name)
        qb.entry_form(place)

    sound = resource("data", "plane_irons")
    look_at(sound)
    read_all(sound, sound)  # so that every library is loaded before the hook looks
    seen: list[str] = []
    inside = Path(folder).resolve()
    libraries = installed_folders()

    def hook(event: str, arguments: tuple[object, ...]) -> None:
        if event in ("exec", "compile"):
            code = arguments[0]
            name = getattr(code, "co_filename", None) or str(arguments[-1])
            # a module of an installed library that is loaded late is no code of the study
            if not name.startswith("<frozen") and not is_installed(name, libraries):
                seen.append(f"{event} {name} {str(code)[:200]}")
        elif event in RUNS:
            if event == "marshal.loads" and _importing():
                return
            seen.append(f"{event} {arguments!r:.200}")
        elif event == "open":
            path, _, flags = arguments
            writes = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
            if not isinstance(path, str | bytes):
                return
            real = os.path.realpath(os.fsdecode(path))
            if writes and not real.endswith(".pyc"):
                seen.append(f"write {real}")
            elif is_outside(real, inside, libraries):
                seen.append(f"read outside {real}")

    sys.addaudithook(hook)
    for done, look in (
        ("looked", lambda: look_at(inside)),
        ("read", lambda: read_all(inside, inside)),
    ):
        try:
            look()
            print(done, file=sys.stderr)
        except QuenchbookError as error:
            print(error, file=sys.stderr)
    print(json.dumps(seen))


def installed_folders() -> tuple[str, ...]:
    """Folders of Python, of the libraries and of quenchbook, each with a mark at its end."""
    import quenchbook as qb

    own = (sys.prefix, sys.base_prefix, Path(qb.__file__).parent)
    return tuple(str(Path(place).resolve()) + os.sep for place in own)


def is_outside(real: str, inside: Path, libraries: tuple[str, ...]) -> bool:
    """Whether a file is neither of the study folder nor of what is installed."""
    if real == f"/proc/{os.getpid()}/maps":  # which libraries of linear algebra are loaded
        return False
    return not Path(real).is_relative_to(inside) and not real.startswith(libraries)


def is_installed(name: str, libraries: tuple[str, ...]) -> bool:
    if name in ("<string>", "<stdin>"):  # dataclasses and named tuples of libraries are made so
        return _importing()
    return os.path.realpath(name).startswith(libraries)


def _importing() -> bool:
    frame = sys._getframe()
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back  # type: ignore[assignment]
    return False


if __name__ == "__main__":
    main(sys.argv[1])
