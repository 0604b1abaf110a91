"""Files that the commands read and write."""

from __future__ import annotations

import os
import sys
import tempfile
from argparse import Namespace
from pathlib import Path

from ventcalc.bay.description import Bay
from ventcalc.bay.file import example_bay, read_bay
from ventcalc.errors import BadInput
from ventcalc.web.templates import need_jinja2

__all__ = ["bay_named", "check_target", "create", "page_wanted", "read_text", "there_already",
           "write_text"]  # fmt: skip

_EXAMPLES = ("seed_bay", "fry_bay")
_NEAR = 4096
"""How far into a file a mark of ours is looked for, from both ends."""
_MARKS = (b"Made with ventcalc", b"policy,time,outside_temp_c", b"# pulp_heights_m",
          b"bay,lot,time,subject,what,value,who")  # fmt: skip
"""What the files that ventcalc writes hold near their ends."""


def bay_named(name: str) -> Bay:
    """A bay by the path of its file, or an example by its name."""
    if name in _EXAMPLES and not Path(name).exists():
        return example_bay(name)
    return read_bay(name)


def read_text(name: str, what: str) -> str:
    """Text of a file, or of standard input."""
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return data.decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"{name}: no such file; give a file of {what}, or - to read it in") from None
    except IsADirectoryError:
        raise BadInput(f"{name}: is a folder; give the file of {what} inside it") from None
    except UnicodeDecodeError:
        raise BadInput(f"{name}: is not a text in UTF-8; save it as UTF-8") from None
    except (OSError, ValueError) as error:
        raise BadInput(f"{name}: cannot be read ({_why(error)})") from None


def _why(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else "") or str(error)


def check_target(name: str, force: bool = False) -> None:
    """Refuse a name that cannot or must not be written to, before any long work."""
    _check_place(name)
    if not force and not _ours(Path(name)):
        raise BadInput(
            f"{name}: is there and was not written by ventcalc; give another name, or add --force "
            "to replace it"
        )


def page_wanted(args: Namespace) -> None:
    """Refuse the page of ``--html`` before any long work: its name, or what would lay it out."""
    if args.html is not None:
        check_target(args.html, args.force)
        need_jinja2()


def _ours(path: Path) -> bool:
    """Whether replacing it loses nothing but an older result."""
    if not path.exists() or path.stat().st_size == 0:
        return True
    text = path.read_bytes()
    return any(mark in text[:_NEAR] or mark in text[-_NEAR:] for mark in _MARKS)


def _check_place(name: str) -> None:
    try:
        path = Path(name).resolve()
        wrong = not name or (path.exists() and not path.is_file())
        homeless = not path.parent.is_dir()
    except (OSError, ValueError) as error:
        raise BadInput(f"{name}: cannot be written ({_why(error)})") from None
    if wrong:
        raise BadInput(f"{name or 'empty name'}: is not a file; give the name of a file to write")
    if homeless:
        raise BadInput(f"{name}: there is no folder {path.parent}; make it first")


def write_text(name: str, text: str) -> str:
    """Write a file whole or not at all."""
    _check_place(name)
    try:
        path = Path(name).resolve()
        there = path.exists()
        _replace(path, text, path.stat().st_mode & 0o777 if there else 0o644)
    except (OSError, ValueError) as error:
        raise BadInput(f"{name}: cannot be written ({_why(error)})") from None
    return f"{'Replaced' if there else 'Wrote'} {name}"


def _replace(path: Path, text: str, mode: int) -> None:
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name[:80]}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, mode)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def there_already(name: str) -> str:
    """Why a file that is there is not written."""
    return f"{name}: is there already and stays as it is; give another name or delete it"


def create(name: str, text: str) -> str:
    """Write a file that must not be there yet."""
    try:
        with open(name, "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise BadInput(there_already(name)) from None
    except FileNotFoundError:
        raise BadInput(f"{name}: there is no folder {Path(name).parent}; make it first") from None
    except (OSError, ValueError) as error:
        raise BadInput(f"{name}: cannot be written ({_why(error)})") from None
    return f"Wrote {name}"
