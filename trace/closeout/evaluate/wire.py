"""Messages between the tool and its workers: length-prefixed JSON, and file descriptors."""

from __future__ import annotations

import json
import os
import socket
import struct
from typing import Any

_LENGTH = struct.Struct("!Q")
# As it is now: an analysis may put anything in its place.
_encode = json.JSONEncoder(allow_nan=False, separators=(",", ":")).encode
# A result larger than this is a fault of the analysis; it must not fill the tool's memory.
LARGEST = 256 * 1024 * 1024


def pack(message: Any) -> bytes:
    """Return a message as bytes. Numbers keep every digit; NaN and infinities are refused."""
    body = _encode(message).encode()
    return _LENGTH.pack(len(body)) + body


class Reader:
    """Collects bytes until they hold a whole message."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def feed(self, data: bytes) -> None:
        """Take bytes as they came."""
        self._bytes += data

    def take(self) -> Any | None:
        """Return the next whole message, or None.

        Raises:
            ValueError: what came is no message.
        """
        if len(self._bytes) < _LENGTH.size:
            return None
        (length,) = _LENGTH.unpack_from(self._bytes)
        if length > LARGEST:
            raise ValueError("a message is too long")
        end = _LENGTH.size + length
        if len(self._bytes) < end:
            return None
        body = bytes(self._bytes[_LENGTH.size : end])
        del self._bytes[:end]
        return json.loads(body)


def send(channel: socket.socket, message: Any, fds: tuple[int, ...] = ()) -> None:
    """Send a message whole, with file descriptors beside its first byte."""
    data = pack(message)
    sent = socket.send_fds(channel, [data], fds) if fds else 0
    channel.sendall(data[sent:])


def receive(channel: socket.socket, fds: int = 0) -> tuple[Any | None, list[int]]:
    """Wait for one message; None at the end of the channel, also where it was broken off."""
    try:
        return _receive(channel, fds)
    except OSError:
        return None, []


def _receive(channel: socket.socket, fds: int) -> tuple[Any | None, list[int]]:
    head, got, _, _ = socket.recv_fds(channel, _LENGTH.size, fds)
    while 0 < len(head) < _LENGTH.size:
        more = channel.recv(_LENGTH.size - len(head))
        if not more:
            return None, got
        head += more
    if not head:
        return None, got
    (length,) = _LENGTH.unpack(head)
    body = bytearray()
    while len(body) < length:
        more = channel.recv(min(length - len(body), 1 << 20))
        if not more:
            return None, got
        body += more
    return json.loads(bytes(body)), got


def write_all(fd: int, data: bytes) -> None:
    """Write every byte to a descriptor."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]
