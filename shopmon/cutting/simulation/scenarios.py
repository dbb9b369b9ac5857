"""Passes from a workshop of our own invention: two people making bicycle hub shells and brake levers.

Tools, parts and figures are invented; they are of the order that such a shop would see.
"""

from collections.abc import Callable

from shopmon.cutting.materials import material
from shopmon.cutting.nouns import EndMillType, Holder, Mode, ToolAssembly
from shopmon.cutting.simulation.plan import Engagement, Neighbour, PassPlan, Spindle, Surroundings
from shopmon.errors import SettingError

COLLET = Holder(label="collet 16 short", kind="collet", RPMX=25000)
DEMO_SEED = 7


def assembly(
    diameter_mm: float,
    flutes: int,
    *,
    helix_deg: float = 35.0,
    stickout_mm: float,
    runout_um: float,
    label: str = "",
) -> ToolAssembly:
    """Build a carbide end mill in the shop's collet."""
    mill = EndMillType(
        label=label or f"{diameter_mm:g} mm, {flutes} flutes",
        DC=diameter_mm,
        NOF=flutes,
        FHA=helix_deg,
        substrate="carbide",
    )
    return ToolAssembly(mill=mill, holder=COLLET, stickout_mm=stickout_mm, runout_um=runout_um)


def bending(frequency_hz: float, damping_ratio: float, stiffness_n_per_m: float) -> tuple[Mode, ...]:
    """Two bending modes of a slender tool, a little stiffer across the feed."""
    return (
        Mode(
            axis="x",
            frequency_hz=frequency_hz,
            damping_ratio=damping_ratio,
            stiffness_n_per_m=stiffness_n_per_m,
        ),
        Mode(
            axis="y",
            frequency_hz=1.04 * frequency_hz,
            damping_ratio=0.9 * damping_ratio,
            stiffness_n_per_m=1.1 * stiffness_n_per_m,
        ),
    )


def demo() -> PassPlan:
    """Hub shell flange, deepening: quiet at first, ringing from about half-way."""
    return PassPlan(
        name="demo",
        description="Flange of a hub shell in 7075, the depth growing along the pass until it rings.",
        duration_s=50.0,
        loops=True,
        assembly=assembly(10, 3, stickout_mm=42, runout_um=10, label="hub rougher"),
        material=material("7075"),
        modes=bending(1390.0, 0.028, 7.5e6),
        milling="climb",
        ae_mm=4.0,
        feed_per_tooth_mm=0.05,
        engagements=(
            Engagement(
                start_s=10.0,
                end_s=41.0,
                ap_start_mm=1.0,
                ap_end_mm=4.4,
                ramp_start_s=13.0,
                ramp_end_s=33.0,
                entry_s=0.4,
            ),
        ),
        spindle=Spindle(
            nominal_rpm=11000, slip=0.012, droop=0.004, wander=3e-4, belt_ratio=0.62, drive_hz=8000
        ),
        surroundings=Surroundings(snr_db=18, coolant=True),
    )


def quiet_pass() -> PassPlan:
    """A pass at a speed and depth that stay quiet."""
    return PassPlan(
        name="quiet-pass",
        description="Roughing a brake lever blank in 7075 at a depth that stays quiet.",
        duration_s=14.0,
        assembly=assembly(10, 3, stickout_mm=32, runout_um=8),
        material=material("7075"),
        modes=bending(1820.0, 0.03, 1.2e7),
        ae_mm=3.0,
        engagements=(Engagement(start_s=4.0, end_s=11.0, ap_start_mm=1.0),),
        spindle=Spindle(nominal_rpm=12000, slip=0.01, droop=0.003, belt_ratio=0.62),
        surroundings=Surroundings(snr_db=20),
    )


def pass_that_rings() -> PassPlan:
    """Chatter from half-way as the depth grows."""
    return PassPlan(
        name="pass-that-rings",
        description="Hub shell in 7075: the depth grows along the pass until the tool rings.",
        duration_s=14.0,
        assembly=assembly(10, 3, stickout_mm=42, runout_um=10, label="hub rougher"),
        material=material("7075"),
        modes=bending(1390.0, 0.028, 7.5e6),
        ae_mm=4.0,
        engagements=(Engagement(start_s=4.0, end_s=11.0, ap_start_mm=0.6, ap_end_mm=4.6, entry_s=0.2),),
        spindle=Spindle(nominal_rpm=11000, slip=0.012, droop=0.004, belt_ratio=0.62),
        surroundings=Surroundings(snr_db=20),
    )


def finishing_wall() -> PassPlan:
    """A long end mill taking a thin skin off a tall wall."""
    return PassPlan(
        name="finishing-wall",
        description="Long end mill finishing a lever's wall: growing ap, then every second tooth digs in.",
        duration_s=14.0,
        assembly=assembly(8, 2, helix_deg=30, stickout_mm=48, runout_um=2, label="long finisher"),
        material=material("6082"),
        modes=(
            Mode(axis="x", frequency_hz=1850.0, damping_ratio=0.03, stiffness_n_per_m=9e6),
            Mode(axis="y", frequency_hz=960.0, damping_ratio=0.015, stiffness_n_per_m=1.6e6),
        ),
        ae_mm=0.4,
        feed_per_tooth_mm=0.08,
        engagements=(Engagement(start_s=4.0, end_s=11.0, ap_start_mm=0.4, ap_end_mm=3.6, entry_s=0.2),),
        spindle=Spindle(nominal_rpm=20500, slip=0.006, droop=0.002),
        surroundings=Surroundings(snr_db=18),
    )


def lever_edge() -> PassPlan:
    """Three flutes and period doubling: lines at half orders of the rotation."""
    return PassPlan(
        name="lever-edge",
        description="Trimming a brake lever's edge with three long flutes until half orders appear.",
        duration_s=14.0,
        assembly=assembly(8, 3, helix_deg=30, stickout_mm=48, runout_um=3, label="long trimmer"),
        material=material("6082"),
        modes=(
            Mode(axis="x", frequency_hz=1850.0, damping_ratio=0.03, stiffness_n_per_m=9e6),
            Mode(axis="y", frequency_hz=960.0, damping_ratio=0.015, stiffness_n_per_m=1.6e6),
        ),
        ae_mm=0.4,
        feed_per_tooth_mm=0.08,
        engagements=(Engagement(start_s=4.0, end_s=11.0, ap_start_mm=0.4, ap_end_mm=3.8, entry_s=0.2),),
        spindle=Spindle(nominal_rpm=14150, slip=0.006, droop=0.002),
        surroundings=Surroundings(snr_db=18),
    )


def stainless_slot() -> PassPlan:
    """A slow slot in stainless, with coolant and a neighbour."""
    return PassPlan(
        name="stainless-slot",
        description="Slotting a lever pivot in 316 with coolant, another machine running beside.",
        duration_s=14.0,
        assembly=assembly(6, 4, helix_deg=38, stickout_mm=20, runout_um=6),
        material=material("316"),
        modes=bending(2350.0, 0.035, 1.1e7),
        milling="slot",
        ae_mm=6.0,
        feed_per_tooth_mm=0.02,
        engagements=(Engagement(start_s=4.0, end_s=11.0, ap_start_mm=0.12, entry_s=0.3),),
        spindle=Spindle(nominal_rpm=3200, slip=-0.012, droop=0.01, gear_teeth=29),
        surroundings=Surroundings(
            snr_db=14, coolant=True, neighbours=(Neighbour(rpm=1430, flutes=6, level_db=-8),)
        ),
    )


def pecks() -> PassPlan:
    """Several short engagements with gaps."""
    starts = (3.0, 4.6, 6.2, 7.8, 13.5, 15.1)
    return PassPlan(
        name="pecks",
        description="Six short bites at the slots of a hub shell: four close together, a pause, two more.",
        duration_s=20.0,
        assembly=assembly(8, 3, stickout_mm=28, runout_um=7),
        material=material("7075"),
        modes=bending(2050.0, 0.03, 1.3e7),
        milling="slot",
        ae_mm=8.0,
        feed_per_tooth_mm=0.03,
        engagements=tuple(
            Engagement(start_s=start, end_s=start + 0.9, ap_start_mm=0.5, entry_s=0.05) for start in starts
        ),
        spindle=Spindle(nominal_rpm=9000, slip=0.008, droop=0.006),
        surroundings=Surroundings(snr_db=20),
    )


def start_and_stop() -> PassPlan:
    """From rest, through a cut, to rest."""
    return PassPlan(
        name="start-and-stop",
        description="The spindle starts, cuts a hub shell's face in two passes and stops.",
        duration_s=20.0,
        assembly=assembly(12, 4, stickout_mm=36, runout_um=18),
        material=material("6082"),
        modes=bending(1650.0, 0.035, 1.6e7),
        ae_mm=5.0,
        engagements=(
            Engagement(start_s=6.0, end_s=9.0, ap_start_mm=1.2),
            Engagement(start_s=11.0, end_s=14.0, ap_start_mm=1.2),
        ),
        spindle=Spindle(nominal_rpm=8000, slip=0.015, droop=0.008, start_s=2.0, stop_s=16.5, belt_ratio=0.62),
        surroundings=Surroundings(snr_db=20),
    )


def air_only() -> PassPlan:
    """The spindle turns, nothing is touched, the neighbour starts midway."""
    plan = quiet_pass()
    return PassPlan(
        name="air-only",
        description="An air cut: the spindle turns, nothing is touched; a neighbour's machine starts midway.",
        duration_s=12.0,
        assembly=plan.assembly,
        material=plan.material,
        modes=plan.modes,
        ae_mm=plan.ae_mm,
        spindle=plan.spindle,
        surroundings=Surroundings(
            snr_db=20, neighbours=(Neighbour(rpm=2870, flutes=4, level_db=-12, start_s=6.0),)
        ),
    )


def idle() -> PassPlan:
    """The spindle idles."""
    plan = quiet_pass()
    return PassPlan(
        name="idle",
        description="The spindle idles in a quiet room.",
        duration_s=10.0,
        assembly=plan.assembly,
        material=plan.material,
        modes=plan.modes,
        ae_mm=plan.ae_mm,
        spindle=plan.spindle,
        surroundings=Surroundings(snr_db=26),
    )


SCENARIOS: dict[str, Callable[[], PassPlan]] = {
    "demo": demo,
    "quiet-pass": quiet_pass,
    "pass-that-rings": pass_that_rings,
    "finishing-wall": finishing_wall,
    "lever-edge": lever_edge,
    "stainless-slot": stainless_slot,
    "pecks": pecks,
    "start-and-stop": start_and_stop,
    "air-only": air_only,
    "idle": idle,
}


def scenario(name: str) -> PassPlan:
    """Return the plan of a scenario.

    Raises
    ------
    SettingError
        Where no scenario has that name.
    """
    if name not in SCENARIOS:
        raise SettingError(f"No scenario is called {name!r}.", f"Known are: {', '.join(SCENARIOS)}.")
    return SCENARIOS[name]()
