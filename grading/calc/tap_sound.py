"""The frequency at which a tapped board rings, from the samples of a recording.

The sound from the tap on, until nearly all of its energy has passed, is weighted with the falling half of a Hann window
(a full one would drop the loud beginning and keep the noise behind it), padded with zeros and transformed; the highest
peak between two frequencies is refined by a parabola through the logarithms of its three highest values (computed).
Checked on made taps of known frequency.
"""

from __future__ import annotations

import io
import wave
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LOWEST_HZ: Final = 50.0
SHORTEST_S: Final = 0.02
LONGEST_S: Final = 4.0
"""Sound from the tap on beyond which nothing is looked at: a board has long fallen silent."""
PADDING: Final = 8
LARGEST_FFT: Final = 2**22
ENERGY_KEPT: Final = 0.98
SHOWN_POINTS: Final = 600
LEAST_PEAK: Final = 0.1
PEAKS_APART: Final = 0.05
MOST_PEAKS: Final = 4


@dataclass(frozen=True, eq=False)
class TapPeak:
    """The peak of a tap: frequency, how far it stands out (its height over the median), the resolution of the recording
    (one over its length), the spectrum to show (frequency in Hz, height relative to the peak; of each step the
    highest), and where else it peaks (Hz, highest first)."""

    resonance_hz: float
    prominence: float
    resolution_hz: float
    spectrum_hz: Floats
    spectrum: Floats
    further_hz: tuple[float, ...] = ()


def read_wav(data: bytes) -> tuple[Floats, int]:
    """Samples from -1 to 1 (channels averaged) and the rate of a WAV file with whole-number samples.

    Raises ValueError for what is no such file, or an empty one.
    """
    try:
        with wave.open(io.BytesIO(data)) as file:
            channels, width, rate = file.getnchannels(), file.getsampwidth(), file.getframerate()
            raw = file.readframes(file.getnframes())
    except (wave.Error, EOFError) as error:
        raise ValueError(f"no WAV file that can be read: {error or 'it ends too early'}") from error
    raw = raw[: len(raw) // (channels * width) * channels * width]
    if width not in (1, 2, 3, 4):
        raise ValueError(f"samples of {8 * width} bits; 8, 16, 24 or 32 can be read")
    if not raw or rate <= 0:
        raise ValueError("the WAV file holds no samples")
    if width == 3:
        bytes_ = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 3).astype(np.int32)
        whole = (bytes_[:, 0] | (bytes_[:, 1] << 8) | (bytes_[:, 2] << 16)) << 8 >> 8
        samples = whole.astype(np.float64) / 2**23
    elif width == 1:
        samples = (np.frombuffer(raw, dtype=np.uint8).astype(np.float64) - 128) / 128
    else:
        samples = np.frombuffer(raw, dtype=f"<i{width}").astype(np.float64) / 2.0 ** (8 * width - 1)
    return samples.reshape(-1, channels).mean(axis=1), rate


def tap_peak(
    samples: Floats, rate: int, lowest_hz: float = LOWEST_HZ, highest_hz: float | None = None
) -> TapPeak:
    """The highest peak of a tap's spectrum between two frequencies (to half the rate when no upper one is given).

    Raises ValueError for a recording that is silent, shorter than 0.02 s after the tap, or limits that hold nothing.
    """
    samples = np.asarray(samples, dtype=np.float64)
    if samples.ndim != 1 or not len(samples) or not np.isfinite(samples).all() or rate <= 0:
        raise ValueError("a recording is a row of finite samples at a rate above 0")
    if np.ptp(samples) <= 0:
        raise ValueError("the recording is silent")
    ringing = samples[int(np.argmax(np.abs(samples - samples.mean()))) :]
    if len(ringing) < SHORTEST_S * rate:
        raise ValueError(f"less than {SHORTEST_S:g} s of sound after the tap")
    ringing = ringing[: int(LONGEST_S * rate)] - samples.mean()
    energy = np.cumsum(ringing * ringing)
    kept = int(np.searchsorted(energy, ENERGY_KEPT * energy[-1])) + 1
    ringing = ringing[: max(kept, int(SHORTEST_S * rate))]
    ringing = ringing * np.hanning(2 * len(ringing))[len(ringing) :]
    whole = 2 ** int(np.ceil(np.log2(len(ringing))))
    size = max(whole, min(PADDING * whole, LARGEST_FFT))
    heights = np.abs(np.fft.rfft(ringing, size))
    frequency = np.fft.rfftfreq(size, 1 / rate)
    inside = np.flatnonzero((frequency >= lowest_hz) & (frequency <= (highest_hz or rate / 2)))
    inside = inside[(inside > 0) & (inside < len(heights) - 1)]
    if not len(inside):
        raise ValueError("no frequency lies between these limits")
    at = int(inside[np.argmax(heights[inside])])
    step = rate / size
    relative = (heights[inside] / heights[at]).astype(np.float64)
    hz, shown = _shown(frequency[inside].astype(np.float64), relative)
    return TapPeak(
        resonance_hz=_refined(heights, at, step),
        prominence=float(heights[at] / max(float(np.median(heights[inside])), 1e-300)),
        resolution_hz=rate / len(ringing),
        spectrum_hz=hz,
        spectrum=shown,
        further_hz=_further(heights, inside, at, step),
    )


def _refined(heights: Floats, at: int, step: float) -> float:
    """Frequency of a peak (Hz): the top of a parabola through the logarithms of its three highest values."""
    low, top, high = np.log(np.maximum(heights[at - 1 : at + 2], 1e-300))
    bend = low - 2 * top + high
    shift = float(0.5 * (low - high) / bend) if bend < 0 else 0.0
    return float((at + min(max(shift, -0.5), 0.5)) * step)


def _shown(frequency: Floats, heights: Floats) -> tuple[Floats, Floats]:
    """At most `SHOWN_POINTS` points of a spectrum: the highest of each run, so that no peak is lost."""
    run = max(1, -(-len(heights) // SHOWN_POINTS))
    starts = np.arange(0, len(heights), run)
    at = np.array([start + int(np.argmax(heights[start : start + run])) for start in starts])
    return frequency[at], heights[at]


def _further(heights: Floats, inside: npt.NDArray[np.intp], at: int, step: float) -> tuple[float, ...]:
    """Other peaks of the whole spectrum, highest first: local maxima of at least `LEAST_PEAK` of the highest, apart
    from it and from each other by a twentieth of their frequency."""
    tops = inside[(heights[inside] >= heights[inside - 1]) & (heights[inside] > heights[inside + 1])]
    tops = tops[heights[tops] >= LEAST_PEAK * heights[at]]
    found = [at]
    for one in tops[np.argsort(-heights[tops], kind="stable")]:
        if all(abs(one / other - 1) > PEAKS_APART for other in found):
            found.append(int(one))
        if len(found) > MOST_PEAKS:
            break
    return tuple(_refined(heights, one, step) for one in found[1:])
