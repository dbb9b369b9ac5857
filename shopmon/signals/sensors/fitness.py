"""Which questions a sensor may answer: by its band, how it is mounted, its noise and its range.

Bands of the questions are common practice in the trade, no source. How sure the parts' figures are stands in
``firmware_notes/accelerometers.md`` and ``microphones.md``.
"""

from dataclasses import dataclass

MOUNTED_SHARE = 1 / 3  # below a third of the mounted resonance a sensor reads right within about 10 %
RATE_SHARE = 0.4
LOUD_G = 8.0  # blows of a heavy cut and of a hammer pass this near the tool (common practice, no source)


@dataclass(frozen=True, kw_only=True)
class Part:
    """What is known of a family of sensors.

    Attributes
    ----------
    label
        Its number.
    kind
        ``"accelerometer"`` or ``"microphone"``.
    top_hz
        Up to where it reads right, None where only its rate limits it.
    rate_share
        Up to which share of its rate it reads right.
    noise_per_root_hz
        Noise density, in g or Pa per √Hz, None where it is not known.
    sure
        How sure the figures are.
    """

    label: str
    kind: str
    top_hz: float | None = None
    rate_share: float = RATE_SHARE
    noise_per_root_hz: float | None = None
    sure: str = "from memory"


PARTS = (
    Part(label="IIS3DWB", kind="accelerometer", top_hz=6300.0, noise_per_root_hz=75e-6, sure="checked"),
    Part(label="ADXL1002", kind="accelerometer", top_hz=11_000.0, noise_per_root_hz=25e-6),
    Part(label="ADXL355", kind="accelerometer", rate_share=0.25, noise_per_root_hz=22.5e-6, sure="checked"),
    Part(label="ADXL345", kind="accelerometer", rate_share=0.5, noise_per_root_hz=430e-6),
    Part(label="LIS3DH", kind="accelerometer", rate_share=0.4),
    Part(label="INMP441", kind="microphone", top_hz=15_000.0, sure="checked"),
    Part(label="ICS-43434", kind="microphone", top_hz=20_000.0, sure="checked"),
    Part(label="other microphone", kind="microphone"),
    Part(label="other accelerometer", kind="accelerometer"),
)

# label: useful up to, Hz (common practice, no source)
MOUNTINGS = {
    "screwed": 8000.0,
    "glued": 6000.0,
    "wax": 4000.0,
    "magnet": 2000.0,
    "tape or loose": 300.0,
    "not said": None,
}


@dataclass(frozen=True, kw_only=True)
class Question:
    """Something a person wants to know, and the band it needs.

    Attributes
    ----------
    label
        The question.
    need_hz
        Band in which the answer lies.
    kinds
        Sensors that may answer it at all.
    noise_g
        Largest r.m.s. noise in that band with which an accelerometer may answer, in g.
    loud
        It is asked while something is cut or hit.
    """

    label: str
    need_hz: tuple[float, float]
    kinds: tuple[str, ...] = ("accelerometer", "microphone")
    noise_g: float | None = None
    loud: bool = False


QUESTIONS = (
    Question(label="In the cut or not", need_hz=(50.0, 1500.0), noise_g=0.05),
    Question(label="Chatter of slender end mills", need_hz=(500.0, 4000.0), noise_g=0.05, loud=True),
    Question(label="Chatter of spindle, frame or part", need_hz=(50.0, 800.0), noise_g=0.02, loud=True),
    Question(label="Imbalance", need_hz=(10.0, 500.0), kinds=("accelerometer",), noise_g=0.005),
    Question(
        label="Bearings of the spindle", need_hz=(500.0, 5000.0), kinds=("accelerometer",), noise_g=0.01
    ),
    Question(label="Tap test", need_hz=(100.0, 4000.0), kinds=("accelerometer",), noise_g=0.05, loud=True),
)


@dataclass(frozen=True, kw_only=True)
class Fitness:
    """How well a sensor may answer one question: ``"yes"``, ``"partly"`` or ``"no"``, and why."""

    question: str
    verdict: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """A sensor as it is mounted.

    Attributes
    ----------
    part
        Its family.
    sample_rate_hz
        Of its stream.
    mounting
        One of `MOUNTINGS`.
    resonance_hz
        Of the mounted sensor where it was measured; goes before what is usual for the mounting.
    range_g
        What full scale means, None where nobody knows.
    clipped_share
        Share of samples at full scale lately.
    """

    part: Part
    sample_rate_hz: float
    mounting: str = "not said"
    resonance_hz: float | None = None
    range_g: float | None = None
    clipped_share: float = 0.0

    @property
    def limits_hz(self) -> dict[str, float]:
        """Up to where each thing lets it hear, lowest first."""
        limits = {"its sample rate": self.sample_rate_hz * self.part.rate_share}
        if self.part.top_hz:
            limits["the part"] = self.part.top_hz
        if self.part.kind == "accelerometer":
            if self.resonance_hz:
                limits["the resonance as it is mounted"] = self.resonance_hz * MOUNTED_SHARE
            elif MOUNTINGS[self.mounting]:
                limits[f"as it is fixed: {self.mounting}"] = MOUNTINGS[self.mounting]
        return dict(sorted(limits.items(), key=lambda limit: limit[1]))

    @property
    def top_hz(self) -> float:
        """Up to where it reads right."""
        return next(iter(self.limits_hz.values()))


def answers(sensor: Sensor) -> tuple[Fitness, ...]:
    """Tell for each question how well this sensor may answer it."""
    return tuple(_judge(sensor, question) for question in QUESTIONS)


def _judge(sensor: Sensor, question: Question) -> Fitness:
    low, high = question.need_hz
    cause, top = next(iter(sensor.limits_hz.items()))

    def told(verdict: str, why: str) -> Fitness:
        """Return the answer to the question at hand."""
        return Fitness(question=question.label, verdict=verdict, why=why)

    if sensor.part.kind not in question.kinds:
        return told("no", "It needs an accelerometer on the spindle's housing.")
    if top < 1.5 * low:
        return told("no", f"It sees up to {_hertz(top)} ({cause}); the answer lies above.")
    noise = sensor.part.noise_per_root_hz
    in_band_g = (
        noise * (min(top, high) - low) ** 0.5 if noise and sensor.part.kind == "accelerometer" else None
    )
    if question.noise_g is not None and in_band_g is not None and in_band_g > question.noise_g:
        return told(
            "no", f"Its own noise in that band is {1000 * in_band_g:.0f} mg: small signs are lost in it."
        )
    if sensor.clipped_share > 1e-3:
        return told("partly", "It is overloaded at times, which makes lines that are not there.")
    if question.loud and sensor.range_g is not None and sensor.range_g < LOUD_G:
        return told("partly", f"Its range of ±{sensor.range_g:g} g is passed by a heavy cut or hit.")
    if top < high:
        return told("partly", f"It sees up to {_hertz(top)} ({cause}): what is above is invisible.")
    if sensor.part.kind == "accelerometer" and sensor.mounting == "not said" and not sensor.resonance_hz:
        return told("partly", "How it is mounted was not said, and that decides how high it sees.")
    return told("yes", f"It sees up to {_hertz(top)}.")


def deaf_text(sensor: Sensor) -> str | None:
    """Say in one sentence what of chatter this sensor cannot see, None where it sees all that is usual."""
    high = QUESTIONS[1].need_hz[1]
    if sensor.top_hz >= high:
        return None
    cause = next(iter(sensor.limits_hz))
    return f"This sensor sees up to {_hertz(sensor.top_hz)} ({cause}): chatter above is invisible to it."


def _hertz(value: float) -> str:
    return f"{value / 1000:.1f}\u00a0kHz" if value >= 1000 else f"{value:.0f}\u00a0Hz"
