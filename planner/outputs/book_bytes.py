"""A workbook as the bytes of an .xlsx file, so that writing it to a disk is one plain write."""

from __future__ import annotations

import gc
import os
import sys
import tempfile
import traceback
from io import BytesIO

from openpyxl.workbook import Workbook

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs.typed import WRITER


def book_bytes(workbook: Workbook) -> bytes:
    """Return ``workbook`` as an .xlsx file; raises InputError when the disk for temporary files takes no more."""
    workbook.properties.lastModifiedBy = WRITER
    buffer = BytesIO()
    try:
        workbook.save(buffer)
    except OSError as error:
        _forget(error)
        folder = tempfile.gettempdir()
        message = f"cannot be written: {error.strerror or error}."
        hint = "Make room there, or name another folder in the environment variable TMPDIR."
        raise InputError((Finding("error", "cannot_write", "", message, hint, os.fspath(folder)),)) from None
    return buffer.getvalue()


def _forget(error: OSError) -> None:
    """Let go of the sheet that openpyxl was writing: closing it fails once more, and Python would print that."""
    told, sys.unraisablehook = sys.unraisablehook, lambda _unraisable: None
    try:
        traceback.clear_frames(error.__traceback__)
        error.__traceback__ = None
        gc.collect()
    finally:
        sys.unraisablehook = told
