"""What a recording of a tap says of a board, kept for the page that asks which peak it was."""

from dataclasses import dataclass
from typing import Any

from django.core import signing

from grading.calc.stiffness import MODES_WITHIN, PLAUSIBLE_M_S
from grading.calc.tap_sound import TapPeak, read_wav, tap_peak

SALT = "grading.stiffness.sound"


@dataclass(frozen=True)
class Heard:
    """A recording with its peaks (Hz, highest first), the band a first mode is plausible in, and its highest peak there
    is."""

    peak: TapPeak
    peaks: tuple[float, ...]
    band_hz: tuple[float, float]
    rate_hz: int
    seconds: float
    file_name: str

    def second_of(self, first_hz: float) -> float | None:
        """The peak at twice the first, if there is one near it."""
        near = [p for p in self.peaks if abs(p / first_hz / 2 - 1) <= MODES_WITHIN]
        return min(near, key=lambda p: abs(p / first_hz / 2 - 1), default=None)

    def recording(self) -> dict[str, Any]:
        """What is stored of it: a few hundred points of the spectrum, never the sound."""
        pairs = zip(self.peak.spectrum_hz, self.peak.spectrum, strict=True)
        return {
            "file_name": self.file_name,
            "rate_hz": self.rate_hz,
            "seconds": round(self.seconds, 3),
            "peaks": [round(p, 2) for p in self.peaks],
            "prominence": round(self.peak.prominence, 1),
            "spectrum": [[round(float(f), 1), round(float(h), 4)] for f, h in pairs],
        }


def hear(data: bytes, length_m: float, file_name: str) -> Heard:
    """Peaks of a recording of a tap on a board of this length; the highest one where a first mode may be comes first.

    :raises ValueError: what is no WAV file, is silent or too short.
    """
    samples, rate = read_wav(data)
    low, high = (v / (2 * length_m) for v in PLAUSIBLE_M_S)
    peak = tap_peak(samples, rate, lowest_hz=max(20.0, low / 2), highest_hz=min(rate / 2, 5 * high))
    peaks = [peak.resonance_hz, *peak.further_hz]
    peaks.sort(key=lambda p: not low <= p <= high)  # stable: highest first within and without
    return Heard(peak, tuple(peaks), (low, high), rate, len(samples) / rate, file_name[:120])


def sealed(heard: Heard) -> str:
    """The recording to carry through the page that asks for the peak; signed, so that it comes back as it went."""
    return signing.dumps(heard.recording(), salt=SALT, compress=True)


def unsealed(text: str) -> dict[str, Any]:
    """:raises signing.BadSignature: it was changed."""
    found: dict[str, Any] = signing.loads(text, salt=SALT)
    return found
