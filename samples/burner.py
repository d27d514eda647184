"""The sound of a boiler room: room tone, and a burner with its fan at high and at low fire.

Own synthesis from the physics that anyone can hear: combustion roar (broad, low, flickering), the
rush of air through the fan, the blade tone (speed × blades, with harmonics) and mains hum.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]
RATE = 48_000


@dataclass(frozen=True)
class Firing:
    """One firing rate as it sounds: level in dB below full scale, fan speed in rev/min."""

    level_db: float
    fan_rpm: float
    rumble_hz: float  # where the combustion roar is strongest
    rush: float  # air noise beside the roar, amplitude ratio
    tone: float  # blade tone beside the roar, amplitude ratio


BLADES = 9
FIRING = {
    "high": Firing(level_db=-35.2, fan_rpm=5260, rumble_hz=120, rush=0.9, tone=0.35),
    "low": Firing(level_db=-35.4, fan_rpm=1380, rumble_hz=85, rush=0.8, tone=0.30),
}
ROOM_DB = -62.0


def _shaped(noise: Sound, gain: NDArray[np.float64]) -> Sound:
    return np.asarray(np.fft.irfft(np.fft.rfft(noise) * gain, len(noise)), dtype=np.float64)


def _unit(sound: Sound) -> Sound:
    return np.asarray(sound / np.sqrt(np.mean(sound**2)), dtype=np.float64)


def _slow(count: int, rate_hz: float, random: np.random.Generator) -> Sound:
    """A random curve that moves no faster than rate_hz, of unit power."""
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    return _unit(_shaped(random.standard_normal(count), (frequency < rate_hz).astype(np.float64)))


def burner(count: int, firing: Firing, random: np.random.Generator) -> Sound:
    """count samples of a burner that stays at one rate, at firing.level_db."""
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    above = np.maximum(frequency, 20.0)
    hump = 1 + 3 * np.exp(-(((frequency - firing.rumble_hz) / (0.5 * firing.rumble_hz)) ** 2))
    phone = 1 / (1 + (55.0 / above) ** 4)  # a telephone's microphone hears nothing lower
    roar = _unit(_shaped(random.standard_normal(count), hump * phone * (above / 20.0) ** -0.9))
    roar = roar * (1 + 0.18 * _slow(count, 7.0, random))
    band = 1 / (1 + (300.0 / above) ** 4) / (1 + (above / 1800.0) ** 2)
    rush = _unit(_shaped(random.standard_normal(count), band))
    speed = firing.fan_rpm / 60 * (1 + 0.003 * _slow(count, 1.5, random))
    turn = 2 * np.pi * np.cumsum(speed) / RATE
    tone = _unit(sum((np.sin(BLADES * k * turn + k) / k**1.3 for k in range(1, 5)), start=np.zeros(count)))
    hum = np.sin(2 * np.pi * 120 * np.arange(count) / RATE)
    mixed = roar + firing.rush * rush + firing.tone * tone + 0.12 * hum
    return _unit(mixed) * 10 ** (firing.level_db / 20)


def boiler_room(count: int, changes: list[tuple[float, str]], random: np.random.Generator) -> Sound:
    """The whole talk's background: count samples, the burner changing at the given seconds.

    A change fades in over 0.5 s: a burner does not start or stop like a switch.
    """
    frequency = np.maximum(np.fft.rfftfreq(count, 1 / RATE), 20.0)
    room = _unit(_shaped(random.standard_normal(count), (frequency / 20.0) ** -0.7)) * 10 ** (ROOM_DB / 20)
    seconds = np.arange(count) / RATE
    for rate, firing in FIRING.items():
        on = np.zeros(count)
        for index, (start, state) in enumerate(changes):
            if state == rate:
                end = changes[index + 1][0] if index + 1 < len(changes) else seconds[-1] + 1
                on += np.clip((seconds - start) / 0.5, 0, 1) * np.clip((end + 0.5 - seconds) / 0.5, 0, 1)
        room = room + burner(count, firing, random) * np.clip(on, 0, 1)
    return room
