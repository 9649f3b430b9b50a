"""The FM channel: pre-emphasis, modulator, limiter, discriminator, de-emphasis and low-pass.

RF is held as a complex envelope: the analytic signal of the REAL frequency-modulated wave, taken at the video rate
fs (4 fsc) and turned down by fs/2 (2 fsc, 7.159 MHz in 525/60). The wave is formed at four times that rate, so
sidebands folded through 0 Hz are in it. Components from fs up to the channel's band edge fold too, as in any sampling,
but harmlessly: a discriminator uses the phase at the sampling moments, and that is exact; whatever acts on the envelope
must be flat or repeat every fs (as the channels' cosine equalisers do). A band cut at fs = 14.3 MHz instead would take
away the second upper sideband of 3 MHz detail and cost 1.5 % of its level.

Contents: `emphasis_response`, `low_pass_response`, `frequency_modulated_wave`, `modulate`, `envelope_frequency_hz`,
`discriminate`, `OutputFilter`, `demodulated_noise_density`, `noise_to_carrier_for_snr`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.arithmetic import arithmetic
from sim.standards import Practice, Standard
from sim.timebase import LineBlocks, line_lead, spline_compensation

__all__ = [
    "OutputFilter",
    "demodulated_noise_density",
    "discriminate",
    "emphasis_response",
    "envelope_frequency_hz",
    "frequency_modulated_wave",
    "low_pass_response",
    "modulate",
    "noise_to_carrier_for_snr",
]

FloatArray = NDArray[np.float32]
ComplexArray = NDArray[np.complex64]

# The real wave is formed at this multiple of fs, so that its Nyquist frequency (28.6 MHz) is beyond the fourth upper
# sideband of peak white with full 4.2 MHz modulation (10.0 + 4 x 4.2 = 26.8 MHz).
MODULATOR_OVERSAMPLING = 4

# Upper edge of the RF channel (MODEL): full gain to the first frequency, a raised-cosine fall to nothing at the second.
# Normal deviation keeps detail to 0.5 %; over-deviation loses its outer sidebands, and white edges grow beards.
RF_FLAT_HZ, RF_STOP_HZ = 18.0e6, 27.0e6

# Low-pass after the discriminator: flat through the video bandwidth, then a raised-cosine fall (MODEL: chosen so
# that the band is flat to 0.5 % and the filter's ringing stays inside one line blanking).
_LOW_PASS_FLAT_RATIO = 1.02
_LOW_PASS_STOP_RATIO = 1.30


def emphasis_response(frequency_hz: NDArray[np.floating], practice: Practice) -> NDArray[np.complex128]:
    """Return the recording pre-emphasis (1 + j w lead) / (1 + j w lag) at each frequency.

    Parameters
    ----------
    frequency_hz : ndarray, any shape
        Video frequencies [Hz].
    practice : Practice
        Supplies the two time constants.

    Returns
    -------
    ndarray
        Complex gain, 1 at zero frequency; de-emphasis is its reciprocal.

    Examples
    --------
    >>> from sim.standards import get_practice
    >>> gain = emphasis_response(np.array([1e9]), get_practice("525 high-band"))
    >>> round(float(20 * np.log10(abs(gain[0]))), 2)
    7.96
    """
    omega = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    return (1.0 + omega * practice.preemphasis_lead_s) / (1.0 + omega * practice.preemphasis_lag_s)


def low_pass_response(frequency_hz: NDArray[np.floating], standard: Standard) -> NDArray[np.float64]:
    """Return the real, zero-phase gain of the low-pass after the discriminator at each frequency [Hz]."""
    flat_hz = _LOW_PASS_FLAT_RATIO * standard.video_bandwidth_hz
    stop_hz = _LOW_PASS_STOP_RATIO * standard.video_bandwidth_hz
    position = np.clip((np.abs(frequency_hz) - flat_hz) / (stop_hz - flat_hz), 0.0, 1.0)
    return np.asarray(0.5 * (1.0 + np.cos(np.pi * position)))


def frequency_modulated_wave(
    video: NDArray[np.floating],
    standard: Standard,
    practice: Practice,
    white_deviation_hz: float | None = None,
    blanking_hz: float | None = None,
) -> FloatArray:
    """Return the recording current of one frame: a real wave, frequency-modulated by a recording practice.

    The video is treated as periodic over the frame, so that a stored frame can be played as a loop; the mean carrier
    is moved by less than half a cycle a frame (15 Hz) to make the loop close.

    Parameters
    ----------
    video : ndarray, (lines, samples) or flat
        Composite video in the standard's level unit, at the standard's sample rate.
    standard, practice : Standard, Practice
        Scanning standard and recording practice.
    white_deviation_hz : float, optional
        Deviation from blanking to peak white [Hz]; the practice's own when omitted.
    blanking_hz : float, optional
        Carrier at blanking level [Hz]; the practice's own when omitted.

    Returns
    -------
    ndarray of float32, (MODULATOR_OVERSAMPLING * samples_per_frame,)
        Wave of amplitude 1 at MODULATOR_OVERSAMPLING times the sample rate.

    Notes
    -----
    The phase is the exact integral of the band-limited, pre-emphasised video: division by j w over the whole frame.
    """
    rows = _wave_rows(video, standard, practice, white_deviation_hz, blanking_hz)
    return np.ascontiguousarray(rows.T).ravel()


def _wave_rows(
    video: NDArray[np.floating],
    standard: Standard,
    practice: Practice,
    white_deviation_hz: float | None,
    blanking_hz: float | None,
) -> FloatArray:
    """Return `frequency_modulated_wave` as (MODULATOR_OVERSAMPLING, samples): row r has samples r, r + 4, r + 8, ...

    Row by row, from transforms as long as the video, it takes half the time that one four times as long takes.
    """
    flat = np.asarray(video, dtype=np.float64).ravel()
    count = flat.size
    rate_hz = standard.sample_rate_hz
    deviation_hz = practice.white_deviation_hz if white_deviation_hz is None else white_deviation_hz
    hz_per_level = deviation_hz / (standard.white_level - standard.blanking_level)

    spectrum = np.fft.rfft(flat)
    frequency_hz = np.arange(spectrum.size) * (rate_hz / count)
    carrier_hz = practice.blanking_hz if blanking_hz is None else blanking_hz
    mean_hz = carrier_hz + hz_per_level * (spectrum[0].real / count - standard.blanking_level)
    cycles = round(mean_hz * count / rate_hz)

    frequency_hz[0] = 1.0
    spectrum *= emphasis_response(frequency_hz, practice)
    spectrum *= hz_per_level / (2.0 * np.pi * frequency_hz)
    spectrum *= -1j
    spectrum[0] = 0.0
    if count % 2 == 0:
        # In a transform as long as the video, the bin at fs/2 is its own mirror image and counts once.
        spectrum[-1] *= 2.0
    later = _unit_phasors(1.0 / (MODULATOR_OVERSAMPLING * count), spectrum.size)
    ramp = np.arange(count) * (cycles / count)
    rows = np.empty((MODULATOR_OVERSAMPLING, count), dtype=np.float32)
    for place, row in enumerate(rows):
        if place:
            spectrum *= later
        turns = np.fft.irfft(spectrum, count)
        turns += ramp
        turns += place * cycles / (MODULATOR_OVERSAMPLING * count)
        turns -= np.floor(turns)
        turns *= 2.0 * np.pi
        np.cos(turns.astype(np.float32), out=row)
    return rows


def _unit_phasors(step_turns: float, count: int) -> NDArray[np.complex128]:
    """Return exp(2 pi i k step) for k = 0 to `count` - 1, made from two short series: an exponential each is dear."""
    short = 512
    fine = np.exp(2j * np.pi * step_turns * np.arange(short))
    coarse = np.exp(2j * np.pi * step_turns * short * np.arange(-(-count // short)))
    return np.outer(coarse, fine).ravel()[:count]


def modulate(
    video: NDArray[np.floating],
    standard: Standard,
    practice: Practice,
    white_deviation_hz: float | None = None,
    blanking_hz: float | None = None,
) -> ComplexArray:
    """Return the RF envelope of `frequency_modulated_wave`: same parameters, see the module's first paragraph.

    Returns
    -------
    ndarray of complex64, (samples_per_frame,)
        Envelope of amplitude 1, centred on half the sample rate.
    """
    rows = _wave_rows(video, standard, practice, white_deviation_hz, blanking_hz)
    count = rows.shape[1]
    # NumPy transforms single precision in double, unless the result is scaled: with "ortho" it is, both ways.
    spectra = [np.fft.rfft(row, norm="ortho") for row in rows]
    half = spectra[0].size
    earlier = _unit_phasors(-1.0 / (MODULATOR_OVERSAMPLING * count), half).astype(np.complex64)
    turned = earlier
    for spectrum in spectra[1:]:
        spectrum *= turned
        turned = turned * earlier
    # The last step of a transform of the wave as a whole, for its bins 0 to 2 fs: of each of the rows' bins come four.
    even, odd = spectra[0] + spectra[2], spectra[1] + spectra[3]
    across, aside = spectra[0] - spectra[2], 1j * (spectra[1] - spectra[3])
    bins = np.empty(2 * count, dtype=np.complex64)
    bins[:half] = even + odd
    bins[count : count + half] = across - aside
    mirrored = slice(count - half, 0, -1)
    bins[half:count] = np.conj(across + aside)[mirrored]
    bins[count + half :] = np.conj(even - odd)[mirrored]

    bins_per_hz = count / standard.sample_rate_hz
    falling = np.arange(math.ceil(RF_FLAT_HZ * bins_per_hz), min(math.ceil(RF_STOP_HZ * bins_per_hz), bins.size))
    beyond = (falling / bins_per_hz - RF_FLAT_HZ) / (RF_STOP_HZ - RF_FLAT_HZ)
    bins[falling[0] : falling[-1] + 1] *= 0.5 + 0.5 * np.cos(np.pi * beyond.astype(np.float32))
    bins[falling[-1] + 1 :] = 0.0
    band = bins[:count]
    band += bins[count:]
    band *= np.float32(2.0 / MODULATOR_OVERSAMPLING)
    # Bin k stands for k fs / count hertz; centring on fs/2 is a rotation of the bins by half their number.
    return np.fft.ifft(np.roll(band, -(count // 2)), norm="ortho").astype(np.complex64)


def envelope_frequency_hz(standard: Standard) -> NDArray[np.float64]:
    """Return the RF frequency of each bin of an envelope's FFT [Hz], shape (samples_per_frame,)."""
    rate_hz = standard.sample_rate_hz
    return np.asarray(np.fft.fftfreq(standard.samples_per_frame, 1.0 / rate_hz) + rate_hz / 2.0)


def discriminate(envelope: ComplexArray, rate_hz: float) -> FloatArray:
    """Limit an envelope completely and return its instantaneous frequency.

    Parameters
    ----------
    envelope : ndarray of complex64, (n_samples,)
        RF envelope centred on half the sample rate; its ends are joined (one frame, played as a loop).
    rate_hz : float
        Sample rate [Hz].

    Returns
    -------
    ndarray of float32, (n_samples,)
        Frequency of the real RF [Hz], 0 to `rate_hz`; element n is the mean from sample n - 1 to sample n.
    """
    return arithmetic().phase_steps(envelope, rate_hz / (2.0 * np.pi), rate_hz / 2.0)


class OutputFilter:
    """De-emphasis, low-pass and discriminator correction, line by line, in one pass of FFTs.

    Parameters
    ----------
    standard, practice : Standard, Practice
        Fix the response and the block layout.
    spline : bool
        True gives the spline coefficients `sim.timebase.Displacement` reads, instead of samples.
    """

    def __init__(self, standard: Standard, practice: Practice, spline: bool = False) -> None:
        self._rate_hz = standard.sample_rate_hz
        self._cutter = LineBlocks(standard.lines_per_frame, standard.samples_per_line, line_lead(standard))
        frequency_hz = np.fft.rfftfreq(self._cutter.length, 1.0 / standard.sample_rate_hz)
        ratio = frequency_hz / standard.sample_rate_hz
        response = low_pass_response(frequency_hz, standard) / emphasis_response(frequency_hz, practice)
        # Undo the mean over one sample interval (sinc) and its half-sample lateness.
        response = response / np.sinc(ratio) * np.exp(1j * np.pi * ratio)
        hz_per_level = practice.white_deviation_hz / (standard.white_level - standard.blanking_level)
        if spline:
            response = response * spline_compensation(ratio)
        self._response = (response / hz_per_level).astype(np.complex64)
        self._offset_hz = practice.blanking_hz - hz_per_level * standard.blanking_level

    def __call__(self, frequency_hz: FloatArray, line_error_s: NDArray[np.float64] | None = None) -> FloatArray:
        """Return video in level units, shape (samples_per_frame,).

        Parameters
        ----------
        frequency_hz : ndarray of float32, (samples_per_frame,)
            What `discriminate` gave [Hz].
        line_error_s : ndarray, (lines,), optional
            Time-base error of each line as a whole [s]; positive reads later. It costs next to nothing here.
        """
        late = None if line_error_s is None else line_error_s * self._rate_hz
        blocks = self._cutter.cut(frequency_hz, self._offset_hz)
        return self._cutter.join(arithmetic().filter_lines(blocks, self._response, late)).ravel()


def demodulated_noise_density(frequency_hz: NDArray[np.float64], noise_to_carrier_per_hz: float) -> NDArray[np.float64]:
    """Return the two-sided density of demodulated frequency noise [Hz^2/Hz] above threshold: f^2 N0 / (2 C).

    Parameters
    ----------
    frequency_hz : ndarray
        Video frequency [Hz].
    noise_to_carrier_per_hz : float
        N0/C, one-sided RF noise density over carrier power [1/Hz].
    """
    return np.square(frequency_hz) * (0.5 * noise_to_carrier_per_hz)


def noise_to_carrier_for_snr(snr_db: float, standard: Standard, practice: Practice) -> float:
    """Return N0/C [1/Hz] that gives a picture signal-to-noise ratio at the demodulator's output.

    Parameters
    ----------
    snr_db : float
        Blanking-to-white over rms noise, after de-emphasis and low-pass [dB].
    standard, practice : Standard, Practice
        Fix bandwidth, de-emphasis and deviation.

    Notes
    -----
    Integrates the triangular voltage spectrum through the real output filter. Without de-emphasis and with a sharp
    band edge B it is the closed form SNR = 3 (D/B)^2 C / (N0 B).
    """
    frequency_hz = np.linspace(0.0, standard.sample_rate_hz / 2.0, 4001)
    gain = low_pass_response(frequency_hz, standard) / np.abs(emphasis_response(frequency_hz, practice))
    density = demodulated_noise_density(frequency_hz, 1.0) * np.square(gain)
    step_hz = frequency_hz[1] - frequency_hz[0]
    variance_hz2 = 2.0 * float(np.sum(0.5 * (density[1:] + density[:-1]))) * step_hz
    return float(practice.white_deviation_hz**2 / 10.0 ** (snr_db / 10.0) / variance_hz2)
