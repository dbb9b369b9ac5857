"""How far spectrogram, order axis and levels are from those of librosa, on the same signals.

librosa is no dependency of anything here (what it needs is large, and its first import takes 20 s of the
processor): install it by hand for this table. Windows, hops and scale are set to be the same; peaks, which we
read between the bins, are left out where bins are compared, and are compared with the truth instead.
"""

import numpy as np

from shopmon.signals.levels import power_db, sine_power
from shopmon.signals.spectrogram import bin_edges_hz, column_levels, column_starts, onto_orders

RATE_HZ = 48_000.0
HALF_A_ROW = 0.05


def signals() -> dict[str, np.ndarray]:
    """Return a few signals of 4 s: a comb in noise, a run-up, clicks, faint noise."""
    rng = np.random.default_rng(3)
    t = np.arange(int(4 * RATE_HZ)) / RATE_HZ
    turns = np.cumsum(150 + 25 * t) / RATE_HZ
    comb = sum(0.1 / k * np.sin(2 * np.pi * 197.3 * k * t + k) for k in range(1, 30))
    clicks = np.zeros(t.size)
    clicks[:: int(0.31 * RATE_HZ)] = 0.7
    return {
        "a comb in noise": (comb + 0.01 * rng.standard_normal(t.size)).astype(np.float32),
        "a run-up": (0.1 * np.sin(2 * np.pi * 3 * turns) + 0.03 * np.sin(2 * np.pi * 7.5 * turns)).astype(
            np.float32
        ),
        "clicks": (clicks + 0.001 * rng.standard_normal(t.size)).astype(np.float32),
        "faint noise": (1e-4 * rng.standard_normal(t.size)).astype(np.float32),
    }


def their_levels(librosa, sound: np.ndarray, length: int, hop: int) -> np.ndarray:
    """Return librosa's spectrogram in dB re a full-scale sine, shape ``(columns, bins)``."""
    spectrum = np.abs(librosa.stft(sound, n_fft=length, hop_length=hop, window="hann", center=False))
    scaled = spectrum * 2 / (length / 2)  # one-sided, and what the window takes away
    return librosa.amplitude_to_db(scaled, ref=1.0, amin=1e-9, top_db=None).T


def compare_spectrograms(librosa) -> None:
    """Print the largest differences of single bins."""
    print(
        f"  {'spectrogram, dB apart':32s} {'window':>7s} {'bins':>9s} {'largest':>9s} {'above −90 dB':>13s}"
    )
    for name, sound in signals().items():
        for length in (512, 2048, 8192):
            theirs = their_levels(librosa, sound, length, length // 2)
            starts = np.arange(len(theirs))[:, None] * (length // 2)
            ours = column_levels(sound, starts, length)
            inner = slice(1, -1)
            peak = (ours[:, inner] >= ours[:, :-2]) & (ours[:, inner] > ours[:, 2:])
            apart = np.abs(ours[:, inner] - theirs[:, inner])[~peak]
            loud = apart[theirs[:, inner][~peak] > -90]
            most = loud.max() if loud.size else 0.0
            print(f"  {name:32s} {length:7d} {apart.size:9d} {apart.max():9.5f} {most:13.5f}")


def compare_tones(librosa) -> None:
    """Print how test tones of −20 dB read, on a bin and half-way between two."""
    print(f"  {'a tone of −20 dB':32s} {'window':>7s} {'ours':>9s} {'librosa':>9s}")
    for length in (512, 2048, 8192):
        for off in (0.0, 0.25, 0.5):
            hz = (length // 16 + off) * RATE_HZ / length
            sound = (0.1 * np.sin(2 * np.pi * hz * np.arange(4 * length) / RATE_HZ + 0.7)).astype(np.float32)
            ours = column_levels(sound, np.array([[length]]), length).max()
            theirs = their_levels(librosa, sound, length, length)[1].max()
            print(f"  {f'{off:.2f} of a bin off':32s} {length:7d} {ours:9.3f} {theirs:9.3f}")


def compare_orders(librosa) -> None:
    """Print the level on the rows of known multiples against librosa's harmonics of the same speed."""
    sound, length, step = signals()["a run-up"], 4096, 4800
    starts = column_starts(2400, step, 35, length)
    middles = (starts.mean(axis=1) + length / 2).astype(int)
    rotation = 150 + 25 * middles / RATE_HZ
    levels = column_levels(sound, starts, length)
    edges = np.linspace(0, 10, 101) - HALF_A_ROW
    rows = onto_orders(levels, bin_edges_hz(length, RATE_HZ), edges, rotation, -200.0)
    hz = librosa.fft_frequencies(sr=RATE_HZ, n_fft=length)
    orders = np.array([2.0, 3.0, 5.0, 7.5, 9.0])
    theirs = librosa.f0_harmonics(levels.T, f0=rotation, freqs=hz, harmonics=orders, fill_value=-200.0)
    print(f"  {'orders of a run-up, dB':32s} {'ours':>9s} {'librosa':>9s} {'truth':>9s}")
    for number, order in enumerate(orders):
        row = int(np.searchsorted(edges, order, side="right")) - 1
        truth = {3.0: "-20.0", 7.5: "-30.5"}.get(float(order), "nothing")
        ours, other = np.median(rows[:, row]), np.median(theirs[number])
        print(f"  {f'{order:g} × the rotation, median':32s} {ours:9.2f} {other:9.2f} {truth:>9s}")
    found = edges[rows[:, 10:].argmax(axis=1) + 10] + HALF_A_ROW
    print(f"  loudest row above 1: {found.min():.2f} to {found.max():.2f} × the rotation (truth 3)")


def compare_levels(librosa) -> None:
    """Print the level of whole signals."""
    print(f"  {'level, dB re a full-scale sine':32s} {'ours':>9s} {'librosa':>9s}")
    for name, sound in signals().items():
        ours = float(power_db(sine_power(sound[:, None])[0]))
        rms = librosa.feature.rms(y=sound - sound.mean(), frame_length=sound.size, center=False)[0, 0]
        theirs = float(librosa.amplitude_to_db(np.array([rms * np.sqrt(2)]), amin=1e-9, top_db=None)[0])
        print(f"  {name:32s} {ours:9.3f} {theirs:9.3f}")


def main() -> None:
    """Print the tables."""
    try:
        import librosa
    except ImportError:
        print("  librosa is not installed; for this table: pip install librosa")
        return
    print(f"  librosa {librosa.__version__}")
    for compare in (compare_spectrograms, compare_tones, compare_orders, compare_levels):
        compare(librosa)


if __name__ == "__main__":
    main()
