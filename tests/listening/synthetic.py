"""A small synthetic machine for tests of the engine: comb, noise, tones, engagements."""

import numpy as np

from shopmon.signals.block import Block, Channel

RATE_HZ = 16_000.0


def comb(rotation_hz, seconds, *, flutes=3, level=0.05, runout=0.5, orders=30, rate_hz=RATE_HZ, seed=1):
    """Return a comb with tooth passing strongest and runout at all other orders, shape (frames,)."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    out = np.zeros(time.size)
    for order in range(1, orders + 1):
        if order * rotation_hz > 0.45 * rate_hz:
            break
        share = (1.0 if order % flutes == 0 else runout) / np.sqrt(order)
        out += level * share * np.cos(2 * np.pi * order * rotation_hz * time + rng.uniform(0, 2 * np.pi))
    return out


def tone(frequency_hz, seconds, level, rate_hz=RATE_HZ):
    """Return a sine of amplitude `level`."""
    return level * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def gate(seconds, spans, rate_hz=RATE_HZ):
    """Return 1 within the spans, 0 outside, with edges of 20 ms."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    out = np.zeros(time.size)
    for start, end in spans:
        out = np.maximum(out, np.clip(np.minimum(time - start, end - time) / 0.02 + 0.5, 0, 1))
    return out


def machine(
    seconds=6.0,
    rotation_hz=200.0,
    *,
    flutes=3,
    engaged=((2.0, 5.0),),
    chatter=(),
    chatter_hz=1437.0,
    chatter_level=0.05,
    noise=0.004,
    rate_hz=RATE_HZ,
    seed=0,
):
    """Return a spindle that idles, cuts within `engaged` and rings within `chatter`, shape (frames,)."""
    rng = np.random.default_rng(seed)
    idle = comb(rotation_hz, seconds, flutes=flutes, level=0.006, orders=12, rate_hz=rate_hz)
    cutting = comb(rotation_hz, seconds, flutes=flutes, rate_hz=rate_hz, seed=2)
    cutting += 0.01 * rng.standard_normal(cutting.size)
    family = np.zeros(cutting.size)
    for step in range(-2, 3):
        family += tone(
            chatter_hz + step * flutes * rotation_hz, seconds, chatter_level / 2 ** abs(step), rate_hz
        )
    sound = idle + noise * rng.standard_normal(idle.size)
    return sound + gate(seconds, engaged, rate_hz) * cutting + gate(seconds, chatter, rate_hz) * family


def blocks(samples, size=4000, *, rate_hz=RATE_HZ, first_sample=0):
    """Yield the samples, shape (frames,) or (frames, channels), as float blocks of `size` frames."""
    samples = np.asarray(samples, dtype=np.float32)
    samples = samples[:, None] if samples.ndim == 1 else samples
    channels = (Channel(),) * samples.shape[1]
    for start in range(0, len(samples), size):
        yield Block(
            codes=samples[start : start + size],
            code_format="float32",
            sample_rate_hz=rate_hz,
            first_sample=first_sample + start,
            source_id="test",
            stream_id="test",
            channels=channels,
        )
