"""Where in the program the machine most probably is: forward as it is heard, and both ways afterwards."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.following.model import (
    BREAKS_OFF,
    MOVING,
    RATES,
    TAKEN_OUT,
    TO_AIR,
    TO_METAL,
    ProgramModel,
    Step,
)

SMALLEST = 1e-7  # relative to the best: less is forgotten
METAL, AIR = 0, 1
# of a step hardly, partly or wholly engaged
HEARD_IN_METAL = np.array([0.03, 0.22, 0.75])
HEARD_IN_AIR = np.array([0.96, 0.03, 0.01])
HARDLY, WHOLLY = 0.05, 0.95
STOPPED_MOVING, STOPPED_PAUSED, STOPPED_WAITING, STOPPED_IN_OTHER_AIR = 0.002, 0.4, 0.5, 0.3
START_BEFORE = 0.9


@dataclass(frozen=True, eq=False)
class Belief:
    """Probability of every state: cells (cells, rates, metal or air) and states between sections (gaps,)."""

    cells: np.ndarray
    gaps: np.ndarray


@dataclass(frozen=True)
class Kept:
    """A belief with its small values left out."""

    places: np.ndarray
    values: np.ndarray
    gaps: np.ndarray


class Tracker:
    """Follows a program step by step.

    Parameters
    ----------
    model
        Of the program.
    """

    def __init__(self, model: ProgramModel):
        self.model = model
        self.belief = self._first()
        self.steps: list[Step] = []
        self._kept: list[Kept] = []

    def _first(self) -> Belief:
        """Most likely the program has not begun; it may be anywhere."""
        model = self.model
        cells = np.zeros((len(model.section_of), len(RATES), 2))
        gaps = np.full(model.gaps, 0.5 * (1 - START_BEFORE) / model.gaps)
        gaps[model.stopped[0]] += START_BEFORE
        cells[:, MOVING, :] = 0.5 * (1 - START_BEFORE) / cells[:, MOVING, :].size
        return Belief(cells, gaps)

    def take(self, step: Step) -> None:
        """Go on by one step."""
        cells, gaps = self._forward(self.belief, step)
        in_cells, in_gaps = self._evidence(step)
        cells, gaps = cells * in_cells, gaps * in_gaps
        total = cells.sum() + gaps.sum()
        self.belief = Belief(cells / total, gaps / total)
        self.steps.append(step)
        self._kept.append(_compact(self.belief))

    def sections(self) -> np.ndarray:
        """Probability of each section now, (sections,); what is missing to 1 is between them."""
        return self._by_section(self.belief.cells)

    def smoothed(self, from_step: int = 0) -> np.ndarray:
        """Probability of each section at every step, given all that was heard, (steps, sections)."""
        model = self.model
        found = np.zeros((len(self.steps) - from_step, model.count))
        cells = np.ones_like(self.belief.cells)
        gaps = np.ones(model.gaps)
        for number in range(len(self.steps) - 1, from_step - 1, -1):
            kept = self._kept[number]
            flat = cells.reshape(-1)[kept.places] * kept.values
            total = flat.sum() + (kept.gaps * gaps).sum()
            whole = np.zeros(cells.size)
            whole[kept.places] = flat / total
            found[number - from_step] = self._by_section(whole.reshape(cells.shape))
            in_cells, in_gaps = self._evidence(self.steps[number])
            cells, gaps = self._backward(cells * in_cells, gaps * in_gaps, self.steps[number])
            largest = max(cells.max(), gaps.max())
            cells, gaps = cells / largest, gaps / largest
        return found

    def _by_section(self, cells: np.ndarray) -> np.ndarray:
        return np.bincount(self.model.section_of, cells.sum(axis=(1, 2)), minlength=self.model.count)

    # one step on, and the same step seen from its end

    def _forward(self, belief: Belief, step: Step) -> tuple[np.ndarray, np.ndarray]:
        model = self.model
        cells = np.einsum("crm,rs->csm", belief.cells, model.rates)
        cells = _change_mode(cells)
        moved = cells * model.advance[:, :, None]
        on = np.zeros_like(cells)
        on[1:] = moved[:-1]
        on[model.first] = 0.0  # what leaves a section does not run into the next
        left = moved[model.last].sum(axis=(1, 2))
        cells = cells - moved + on

        gaps = belief.gaps @ self._gap_ways(step)
        fit = self._entry_fit(step)
        ready = belief.gaps * model.starts_without_stop if step.stopped else belief.gaps
        starts = (ready @ model.to_start) * fit
        resumes = (ready @ model.to_resume) * fit
        gaps[model.waiting[1:]] += left
        broken = BREAKS_OFF * self._by_section(cells)
        early = np.where(model.before_feed[:, None, None], TAKEN_OUT * cells, 0.0)
        gaps[model.broken] += broken
        gaps[model.stopped[:-1]] += self._by_section(early)
        cells = cells * (1 - BREAKS_OFF) - early * (1 - BREAKS_OFF)
        share = 1.0 / MOVING.sum()
        cells[np.ix_(model.first, np.flatnonzero(MOVING), [AIR])] += (starts * share)[:, None, None]
        inside = (resumes / (model.last - model.first + 1))[model.section_of]
        cells[:, MOVING, AIR] += inside[:, None] * share
        return cells, gaps

    def _backward(self, cells: np.ndarray, gaps: np.ndarray, step: Step) -> tuple[np.ndarray, np.ndarray]:
        """Undo `_forward` in the sense of the transposed matrix."""
        model = self.model
        fit = self._entry_fit(step)
        at_start = cells[model.first][:, MOVING, AIR].mean(axis=1)
        mean = cells[:, MOVING, AIR].mean(axis=1)
        lengths = model.last - model.first + 1
        anywhere = np.bincount(model.section_of, mean, minlength=model.count) / lengths
        gap_values = self._gap_ways(step) @ gaps
        starts = model.to_start @ (fit * at_start) + model.to_resume @ (fit * anywhere)
        gap_values += starts * model.starts_without_stop if step.stopped else starts

        before = model.before_feed[:, None, None]
        stopped = gaps[model.stopped[:-1]][model.section_of][:, None, None]
        broken = gaps[model.broken][model.section_of][:, None, None]
        stays = cells * (1 - BREAKS_OFF) * (1 - TAKEN_OUT * before)
        value = stays + BREAKS_OFF * broken + np.where(before, TAKEN_OUT * stopped, 0.0)
        after = np.zeros_like(value)
        after[:-1] = value[1:]
        after[model.last] = gaps[model.waiting[1:]][:, None, None]
        moved = model.advance[:, :, None]
        value = value * (1 - moved) + after * moved
        value = _change_mode_back(value)
        return np.einsum("csm,rs->crm", value, model.rates), gap_values

    def _entry_fit(self, step: Step) -> np.ndarray:
        """How well the speed fits a section that begins now; at a new speed all are asked anyway."""
        return self.model.speed_fit(None if step.new_run else step.rpm)

    def _gap_ways(self, step: Step) -> np.ndarray:
        return self.model.to_gap_at_stop if step.stopped else self.model.to_gap

    def _evidence(self, step: Step) -> tuple[np.ndarray, np.ndarray]:
        """How probable it is to hear this step in each cell (cells, rates, modes) and gap (gaps,)."""
        model = self.model
        kind = 0 if step.engaged < HARDLY else 2 if step.engaged > WHOLLY else 1
        metal, air = HEARD_IN_METAL[kind], HEARD_IN_AIR[kind]
        fed = model.feed_share
        cells = np.empty((len(fed), len(RATES), 2))
        cells[:, :, METAL] = (fed * metal + (1 - fed) * air)[:, None]
        cells[:, :, AIR] = air
        cells[:, 0, :] = air
        gaps = np.full(model.gaps, air)
        gaps[model.other_metal] = metal
        if step.stopped is not None:
            moving, paused, waits, other = (
                share if step.stopped else 1 - share
                for share in (STOPPED_MOVING, STOPPED_PAUSED, STOPPED_WAITING, STOPPED_IN_OTHER_AIR)
            )
            cells[:, 1:] *= np.where(model.waits, waits, moving)[:, None, None]
            cells[:, 0] *= paused
            gaps *= waits
            gaps[model.other_metal] *= moving / waits
            gaps[model.other_air] *= other / waits
        if step.new_run:
            cells *= model.speed_fit(step.rpm)[model.section_of][:, None, None]
        return cells, gaps


def _change_mode(cells: np.ndarray) -> np.ndarray:
    metal, air = cells[..., METAL], cells[..., AIR]
    return np.stack([(1 - TO_AIR) * metal + TO_METAL * air, TO_AIR * metal + (1 - TO_METAL) * air], axis=-1)


def _change_mode_back(value: np.ndarray) -> np.ndarray:
    metal, air = value[..., METAL], value[..., AIR]
    return np.stack([(1 - TO_AIR) * metal + TO_AIR * air, TO_METAL * metal + (1 - TO_METAL) * air], axis=-1)


def _compact(belief: Belief) -> Kept:
    flat = belief.cells.reshape(-1)
    places = np.flatnonzero(flat > SMALLEST * max(flat.max(), belief.gaps.max()))
    return Kept(places.astype(np.int32), flat[places].astype(np.float32), belief.gaps.astype(np.float32))
