"""Families of machines, tools and rooms: tuning is done on some, figures are reported on others.

Every range is invented, of the order of such machines; the families differ in physics and in room, not only
in seed, so that what was learned on one says something about another.
"""

from dataclasses import dataclass

MICROPHONE_ROOMS = {
    "usual": (),
    "cabin": ((220.0, 0.05, 0.9), (560.0, 0.05, 0.5), (1320.0, 0.04, 0.8), (3100.0, 0.05, 0.4)),
    "hall": ((95.0, 0.08, 0.5), (410.0, 0.09, 0.7), (1010.0, 0.08, 0.6), (2600.0, 0.07, 0.6)),
    "bench": ((180.0, 0.04, 0.6), (720.0, 0.03, 0.9), (1680.0, 0.05, 0.5), (3600.0, 0.06, 0.5)),
    "cupboard": ((270.0, 0.06, 0.8), (930.0, 0.05, 0.8), (2350.0, 0.03, 0.7), (5200.0, 0.05, 0.4)),
}
MOUNTS = {
    "usual": (),
    "magnet": ((310.0, 0.06, 0.5), (1150.0, 0.05, 0.6), (3900.0, 0.03, 1.4)),
    "glued": ((480.0, 0.05, 0.7), (1450.0, 0.04, 0.7), (7800.0, 0.03, 0.9)),
    "clamp": ((190.0, 0.06, 0.8), (870.0, 0.05, 0.6), (2450.0, 0.04, 1.2)),
}


@dataclass(frozen=True, kw_only=True)
class Family:
    """Ranges that a kind of shop draws its passes from.

    Attributes
    ----------
    rpm, diameter_mm, stiffness_n_per_m, damping_ratio
        Lowest and highest.
    tool_hz, frame_hz
        Natural frequencies of tool and frame, lowest and highest; None where the frame is stiff.
    frame_share
        How often the frame is the soft part.
    flutes, materials, helix_deg
        Choices, each as likely as the next.
    runout_um
        Lowest and highest eccentricity.
    accelerometer
        How often it is heard through one.
    variable_pitch
        How often the flutes are unequally spaced.
    room, mount
        Resonances between cut and microphone, and between cut and accelerometer.
    reverberation_s
        Lowest and highest.
    mains_hz
        Of the hum.
    """

    rpm: tuple[float, float]
    diameter_mm: tuple[float, float]
    tool_hz: tuple[float, float]
    frame_hz: tuple[float, float] | None = None
    frame_share: float = 0.0
    stiffness_n_per_m: tuple[float, float] = (2e6, 4e7)
    damping_ratio: tuple[float, float] = (0.012, 0.05)
    flutes: tuple[int, ...] = (2, 3, 4)
    materials: tuple[str, ...] = ("7075", "6082", "316", "1045")
    helix_deg: tuple[float, ...] = (0.0, 30.0, 38.0, 45.0)
    runout_um: tuple[float, float] = (0.0, 50.0)
    accelerometer: float = 0.3
    variable_pitch: float = 0.1
    room: str = "usual"
    mount: str = "usual"
    reverberation_s: tuple[float, float] = (0.0, 0.3)
    mains_hz: float = 50.0


FAMILIES = {
    # a small router with a fast spindle
    "A": Family(
        rpm=(6000, 24_000), diameter_mm=(3, 8), tool_hz=(1000, 4000), stiffness_n_per_m=(3e5, 8e6),
        flutes=(1, 2, 3), materials=("7075", "6082"), runout_um=(2, 40), accelerometer=0.2,
        room="cabin", mount="magnet", reverberation_s=(0.05, 0.25),
    ),
    # a stiff machining centre
    "B": Family(
        rpm=(2000, 15_000), diameter_mm=(6, 16), tool_hz=(800, 3000), stiffness_n_per_m=(4e6, 5e7),
        flutes=(2, 3, 4, 5), materials=("7075", "1045", "316"), runout_um=(0, 15), accelerometer=0.5,
        variable_pitch=0.25, room="usual", mount="glued", reverberation_s=(0.1, 0.4),
    ),
    # a knee mill whose frame gives
    "C": Family(
        rpm=(500, 4000), diameter_mm=(10, 40), tool_hz=(800, 1600), frame_hz=(30, 800), frame_share=0.75,
        stiffness_n_per_m=(2e6, 6e7), damping_ratio=(0.015, 0.06), flutes=(1, 2, 3, 4, 6, 7),
        materials=("7075", "1045", "6082"), helix_deg=(0.0, 30.0, 40.0), runout_um=(5, 50), accelerometer=0.3,
        room="hall", mount="clamp", reverberation_s=(0.3, 0.9),
    ),
    # a converted bench mill
    "D": Family(
        rpm=(700, 9000), diameter_mm=(6, 20), tool_hz=(800, 2500), frame_hz=(60, 600), frame_share=0.4,
        stiffness_n_per_m=(1e6, 2e7), flutes=(2, 3, 4, 6), materials=("6082", "7075", "316"),
        helix_deg=(20.0, 30.0, 42.0), runout_um=(3, 45), accelerometer=0.4, variable_pitch=0.08,
        room="bench", mount="magnet", reverberation_s=(0.05, 0.5), mains_hz=60.0,
    ),
    # fast trimming with slender tools
    "E": Family(
        rpm=(8000, 24_000), diameter_mm=(4, 12), tool_hz=(900, 4000), stiffness_n_per_m=(8e5, 2e7),
        flutes=(1, 2, 3, 4, 5, 7), materials=("7075", "316", "1045"), helix_deg=(10.0, 30.0, 45.0),
        runout_um=(0, 35), accelerometer=0.3, variable_pitch=0.15, room="cupboard", mount="clamp",
        reverberation_s=(0.0, 0.3),
    ),
    # everything, for the last table
    "F": Family(
        rpm=(500, 24_000), diameter_mm=(4, 25), tool_hz=(800, 4000), frame_hz=(30, 800), frame_share=0.25,
        stiffness_n_per_m=(5e5, 4e7), damping_ratio=(0.012, 0.06), flutes=(1, 2, 3, 4, 5, 6, 7),
        helix_deg=(0.0, 25.0, 35.0, 45.0), accelerometer=0.35, variable_pitch=0.12, room="bench",
        mount="glued", reverberation_s=(0.0, 0.6), mains_hz=60.0,
    ),
}  # fmt: skip
