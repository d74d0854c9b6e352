"""A dossier as bytes, and back: the same value, to the last bit of every number."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Any

import msgspec

from closeout.model.dossier import Dossier


def encoded(dossier: Dossier) -> bytes | None:
    """Return a dossier as MessagePack, which has every double; None where it has no such form.

    A name of a file that is no Unicode has none.
    """
    try:
        return msgspec.msgpack.encode(dossier, enc_hook=_as_text)
    except UnicodeEncodeError:
        return None


def decoded(content: bytes) -> Dossier | None:
    """Return the dossier of :func:`encoded`; None where the content is that of no dossier."""
    try:
        return _decoder().decode(content)
    except msgspec.MsgspecError:
        return None


@cache
def _decoder() -> msgspec.msgpack.Decoder[Dossier]:
    return msgspec.msgpack.Decoder(Dossier, dec_hook=_from_text)


def _as_text(value: Any) -> str:
    if isinstance(value, Fraction):
        return str(value)
    raise NotImplementedError(f"{type(value).__name__} stands in no dossier")


def _from_text(kind: type, text: str) -> Any:
    if kind is Fraction:
        return Fraction(text)
    raise NotImplementedError(f"{kind.__name__} stands in no dossier")
