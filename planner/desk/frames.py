"""Frames of plain data between the server and its workers: four bytes of length, then JSON."""

from __future__ import annotations

import json
import struct
from typing import Any, BinaryIO

MOST_BYTES = 512 * 1024 * 1024
HEAD = struct.Struct(">I")


def packed(message: dict[str, Any]) -> bytes:
    """Return ``message`` as a frame; ValueError where it holds what JSON cannot say."""
    body = json.dumps(message, allow_nan=False, separators=(",", ":")).encode()
    return HEAD.pack(len(body)) + body


def read_frame(stream: BinaryIO) -> dict[str, Any] | None:
    """Return the next message of ``stream``; None at its end."""
    head = stream.read(HEAD.size)
    if len(head) < HEAD.size:
        return None
    (length,) = HEAD.unpack(head)
    body = stream.read(length)
    if len(body) < length:
        return None
    message: dict[str, Any] = json.loads(body)
    return message
