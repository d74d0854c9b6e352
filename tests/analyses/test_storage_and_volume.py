"""Memory and data: IEC 80000-13 units, sums by hand, the direction of each input."""

from __future__ import annotations

from collections.abc import Mapping

import pint
import pytest
from scipy.integrate import solve_ivp

from analyses.physics.storage import (
    GB_PER_GIB,
    net_volume,
    sampled_rate,
    time_to_fill,
    time_until_spent,
    volume_of,
)
from analyses.storage_and_volume import StorageAndVolume, storage_and_volume

BASE: dict[str, float] = {
    "memory_chips": 3.0,
    "parity_chips": 1.0,
    "chip_capacity": 8.0,
    "bad_block_share": 0.02,
    "file_system_overhead": 0.03,
    "cameras": 2.0,
    "stuck_cameras": 1.0,
    "camera_bit_rate": 12.0,
    "vibration_channels": 6.0,
    "vibration_sampling_rate": 4.0,
    "vibration_sample_size": 16.0,
    "vibration_compression": 0.7,
    "housekeeping_rate": 20.0,
    "camera_stop_delay": 3600.0,
    "transmit_stop_delay": 6240.0,
    "satellites": 3.0,
    "pictures_per_release": 5.0,
    "picture_size": 300.0,
    "picture_overhead": 1.25,
    "memory_read_rate": 12.0,
    "symbol_rate": 5.0,
}


def stored(**change: float) -> StorageAndVolume:
    return storage_and_volume(**{**BASE, **change})


@pytest.mark.parametrize(
    ("gib", "gb"),
    # IEC 80000-13: gibi is 2^30, giga 10^9.
    [(1.0, 1.073741824), (8.0, 8.589934592), (16.0, 17.179869184), (32.0, 34.359738368)],
)
def test_gibi_is_not_giga(gib: float, gb: float) -> None:
    assert net_volume(1.0, 0.0, gib, 0.0, 0.0) == pytest.approx(gb, rel=1e-15)


def test_pint_agrees_on_gib_and_gb() -> None:
    units = pint.UnitRegistry()
    assert units.Quantity(1.0, "GiB").to("GB").magnitude == pytest.approx(GB_PER_GIB, rel=1e-15)


def test_taken_for_gb_the_memory_would_be_too_small() -> None:
    """The trap: 16 GiB read as 16 GB does not reach DAT-010's 16 GB after the overheads."""
    assert stored().storage_volume > 16.0
    assert stored(chip_capacity=8.0 / GB_PER_GIB).storage_volume < 16.0


def test_volume_by_hand() -> None:
    """2 of 3 chips of 8 GiB, 2 % bad, 3 % file system: 17.179869184 x 0.98 x 0.97 GB."""
    assert stored().storage_volume == pytest.approx(16.331183646, abs=1e-8)


def test_two_cameras_in_an_hour_as_the_requirement_says() -> None:
    """DAT-010: 12 Mbit/s, two cameras, 60 min fill 10.8 GB; a byte is 8 bit (IEC 80000-13)."""
    assert stored().camera_data == pytest.approx(10.8)
    assert volume_of(24.0, 3600.0) == pytest.approx(10.8)


def test_a_compact_disc_holds_74_minutes() -> None:
    """IEC 60908 (from memory): 44.1 kHz, 2 channels, 16 bit are 1411.2 kbit/s; 74 min 783 MB."""
    rate = sampled_rate(2.0, 44.1, 16.0, 1.0)
    assert rate == pytest.approx(1.4112)
    assert volume_of(rate, 74 * 60.0) == pytest.approx(0.783216)


def test_sixty_four_kbit_of_a_telephone_channel() -> None:
    """ITU-T G.711: 8 kHz, 8 bit, 64 kbit/s; G.726 halves it to 32 kbit/s."""
    assert sampled_rate(1.0, 8.0, 8.0, 1.0) == pytest.approx(0.064)
    assert sampled_rate(1.0, 8.0, 8.0, 0.5) == pytest.approx(0.032)


def test_a_parity_chip_costs_a_chip() -> None:
    """Singleton bound: an erasure code of n blocks that stands p losses keeps n - p."""
    assert net_volume(3.0, 1.0, 8.0, 0.0, 0.0) == pytest.approx(2 * net_volume(1.0, 0.0, 8.0, 0, 0))


def test_vibration_stuck_camera_and_housekeeping_by_hand() -> None:
    found = stored()
    assert found.vibration_data == pytest.approx(6 * 4000 * 16 * 0.7 * 3600 / 8e9)
    assert found.stuck_data == pytest.approx(12e6 * (6240 - 3600) / 8e9)
    assert found.housekeeping_data == pytest.approx(20e3 * 6240 / 8e9)
    parts = found.camera_data + found.stuck_data + found.vibration_data + found.housekeeping_data
    assert found.data_volume == pytest.approx(parts)
    assert found.storage_left == pytest.approx(found.storage_volume - parts)


def test_time_of_a_round_by_hand() -> None:
    """15 pictures of 300 kB are 36 Mbit. QPSK 1/4 at 5 Msymbol/s carries 2.451 Mbit/s (ETSI EN
    302 307-1: 0.490243 bit a symbol); with an overhead of 1.25 that is 18.36 s.
    """
    found = stored()
    assert found.readout_time == pytest.approx(3.0)
    assert found.round_time["Razorbill"] == pytest.approx(36 * 1.25 / (5 * 0.490243), rel=1e-5)
    assert found.round_time["Fulmar"] == pytest.approx(36 * 1.25 / (5 * 1.188304), rel=1e-5)


def test_a_slow_memory_sets_the_pace() -> None:
    found = stored(memory_read_rate=1.0)
    assert found.readout_time == pytest.approx(36.0)
    assert list(found.round_time.values()) == pytest.approx([36.0] * len(found.round_time))


def test_a_camera_that_ends_after_the_last_transmission_is_not_stuck() -> None:
    assert stored(transmit_stop_delay=3000.0).stuck_data == 0.0


WORSE: Mapping[str, tuple[str, float]] = {
    "bad blocks": ("bad_block_share", 0.04),
    "file system": ("file_system_overhead", 0.05),
    "one chip less": ("memory_chips", 2.0),
    "one parity chip more": ("parity_chips", 2.0),
    "smaller chips": ("chip_capacity", 4.0),
    "busier scene": ("camera_bit_rate", 13.0),
    "both cameras stuck": ("stuck_cameras", 2.0),
    "a third camera": ("cameras", 3.0),
    "noise that does not compress": ("vibration_compression", 1.0),
    "longer recording": ("camera_stop_delay", 3900.0),
    "longer transmission": ("transmit_stop_delay", 6600.0),
    "more housekeeping": ("housekeeping_rate", 200.0),
}


@pytest.mark.parametrize("case", WORSE)
def test_what_leaves_less_storage(case: str) -> None:
    name, value = WORSE[case]
    assert stored(**{name: value}).storage_left < stored().storage_left


def test_time_to_fill_turns_the_volume_round() -> None:
    assert time_to_fill(volume_of(24.0, 1234.0), 24.0) == pytest.approx(1234.0)


@pytest.mark.parametrize(
    ("store", "first", "later", "change"),
    [(100.0, 2.0, 1.0, 30.0), (100.0, 5.0, 1.0, 30.0), (100.0, 2.0, 0.5, 50.0), (1e5, 20, 7, 3600)],
)
def test_two_rates_as_scipy_runs_them_down(
    store: float, first: float, later: float, change: float
) -> None:
    """SciPy's integrator with an event at zero."""

    def empty(_: float, left: list[float]) -> float:
        return left[0]

    empty.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(
        lambda t, _: [-(first if t < change else later)],
        (0.0, 1e5), [store], events=empty, max_step=5.0,
    )  # fmt: skip
    found = time_until_spent(store, first, later, change)
    assert found == pytest.approx(run.t_events[0][0], abs=2.5 * first / later)
