"""Files that are written whole or not at all: no crash leaves half of one."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path


def write_files(contents: Mapping[Path, bytes], path: Path) -> None:
    """Write some files, in their order, in place of earlier ones; none until all are on the disk.

    Raises
    ------
    OSError
        If one cannot be written; it names ``path``, which is what the user asked for.
    """
    drafts = {file: file.with_name(f".{file.name}.{os.getpid()}.part") for file in contents}
    try:
        for file, content in contents.items():
            _write(drafts[file], content)
        for file, draft in drafts.items():
            draft.replace(file)
    except OSError as exc:
        raise OSError(exc.errno, exc.strerror, str(path)) from exc  # not that of a draft
    finally:
        for draft in drafts.values():
            draft.unlink(missing_ok=True)


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
