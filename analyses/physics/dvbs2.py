"""Modes of DVB-S2 (ETSI EN 302 307-1): what each needs, and what it carries."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from analyses.physics.csv_table import number, read_rows
from closeout.units import dB

HEADER = 80  # bits of the base-band frame's header
SLOT = 90  # symbols of a slot; the header of a physical-layer frame is one slot
FRAME = 64_800  # bits of a normal frame after coding


class Mode(NamedTuple):
    """A modulation and code rate: the ideal Es/N0 in dB that gives a packet error rate of 1e-7
    without implementation loss, and user bits per symbol without pilots.
    """

    ideal_es_n0: dB
    spectral_efficiency: float


def read_modes(path: Path) -> dict[str, Mode]:
    """Return the modes by name (``QPSK 1/2``), in the order of the file."""
    columns = ("mode", "ideal_es_n0_db", "spectral_efficiency")
    return {
        row["mode"]: Mode(*(number(path, row, column) for column in columns[1:]))
        for row in read_rows(path, columns)
    }


def spectral_efficiency(uncoded_bits: int, bits_per_symbol: int) -> float:
    """Return user bits per symbol of a normal frame without pilots: (Kbch - 80) / (90 (S + 1)).

    S is the number of slots of the frame, FRAME / (90 bits_per_symbol); EN 302 307-1, 5.5.1.
    """
    slots = FRAME // (SLOT * bits_per_symbol)
    return (uncoded_bits - HEADER) / (SLOT * (slots + 1))
