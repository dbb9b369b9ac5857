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
    """Probability of every state: cells (cells, rates, metal or air); gaps by rate before (gaps, rates)."""

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
        self.forgotten = 0
        self._heard: list[tuple[Step, Kept]] = []

    def _first(self) -> Belief:
        """Most likely the program has not begun; it may be anywhere."""
        model = self.model
        cells = np.zeros((len(model.section_of), len(RATES), 2))
        gaps = np.full((model.gaps, len(RATES)), 0.5 * (1 - START_BEFORE) / model.gaps / len(RATES))
        gaps[model.stopped[0], 0] += START_BEFORE
        cells[:, MOVING, :] = 0.5 * (1 - START_BEFORE) / cells[:, MOVING, :].size
        return Belief(cells, gaps)

    def take(self, step: Step) -> None:
        """Go on by one step."""
        cells, gaps = self._forward(self.belief, step)
        in_cells, in_gaps = self._evidence(step)
        cells, gaps = cells * in_cells, gaps * in_gaps
        total = cells.sum() + gaps.sum()
        self.belief = Belief(cells / total, gaps / total)
        self._heard.append((step, _compact(self.belief)))

    @property
    def count(self) -> int:
        """Steps that were taken so far."""
        return self.forgotten + len(self._heard)

    def forget(self, before_step: int) -> None:
        """Keep no more than what is needed to look back as far as a step."""
        gone = min(max(before_step - self.forgotten, 0), len(self._heard))
        self._heard = self._heard[gone:]
        self.forgotten += gone

    def put(self, section: int) -> None:
        """Hear from somebody who knows that this section is about to begin, or runs."""
        model = self.model
        cells = np.zeros_like(self.belief.cells)
        gaps = np.zeros_like(self.belief.gaps)
        cells[model.first[section], MOVING, AIR] = 0.5 / MOVING.sum()
        gaps[model.stopped[section], 0] = 0.5
        self.belief = Belief(cells, gaps)
        # what was believed before need not lead here
        self._heard, self.forgotten = [], self.count

    def sections(self) -> np.ndarray:
        """Probability of each section now, (sections,); what is missing to 1 is between them."""
        return self._by_section(self.belief.cells).sum(axis=1)

    def smoothed(self, from_step: int = 0) -> np.ndarray:
        """Probability of each section at every step, given all that was heard, (steps, sections).

        Callable from another thread while steps are taken.

        Parameters
        ----------
        from_step
            The first row is of this step, or of the first one that is not forgotten.
        """
        model, heard = self.model, list(self._heard)
        heard = heard[max(from_step - self.forgotten, 0) :]
        found = np.zeros((len(heard), model.count))
        cells = np.ones((len(model.section_of), len(RATES), 2))
        gaps = np.ones((model.gaps, len(RATES)))
        for number in range(len(heard) - 1, -1, -1):
            step, kept = heard[number]
            flat = cells.reshape(-1)[kept.places] * kept.values
            total = flat.sum() + (kept.gaps * gaps).sum()
            whole = np.zeros(cells.size)
            whole[kept.places] = flat / total
            found[number] = self._by_section(whole.reshape(cells.shape)).sum(axis=1)
            in_cells, in_gaps = self._evidence(step)
            cells, gaps = self._backward(cells * in_cells, gaps * in_gaps, step)
            largest = max(cells.max(), gaps.max())
            cells, gaps = cells / largest, gaps / largest
        return found

    def _by_section(self, cells: np.ndarray) -> np.ndarray:
        """Add up the cells of each section, (sections, rates)."""
        return np.add.reduceat(cells.sum(axis=2), self.model.first, axis=0)

    # one step on, and the same step seen from its end

    def _forward(self, belief: Belief, step: Step) -> tuple[np.ndarray, np.ndarray]:
        model = self.model
        cells = np.einsum("crm,rs->csm", belief.cells, model.rates)
        cells = _change_mode(cells)
        moved = cells * model.advance[:, :, None]
        on = np.zeros_like(cells)
        on[1:] = moved[:-1]
        on[model.first] = 0.0  # what leaves a section does not run into the next
        left = moved[model.last].sum(axis=2)
        cells = cells - moved + on

        gaps = self._gap_ways(step).T @ belief.gaps
        fit = self._entry_fit(step)
        ready = belief.gaps * model.starts_without_stop[:, None] if step.stopped else belief.gaps
        ready = ready @ model.rates_at_start
        starts = (model.to_start.T @ ready) * fit[:, None]
        resumes = (model.to_resume.T @ ready) * fit[:, None]
        gaps[model.waiting[1:]] += left
        broken = BREAKS_OFF * self._by_section(cells)
        early = np.where(model.before_feed[:, None, None], TAKEN_OUT * cells, 0.0)
        gaps[model.broken] += broken
        gaps[model.stopped[:-1]] += self._by_section(early)
        cells = cells * (1 - BREAKS_OFF) - early * (1 - BREAKS_OFF)
        cells[model.first, :, AIR] += starts
        cells[:, :, AIR] += (resumes / model.lengths[:, None])[model.section_of]
        return cells, gaps

    def _backward(self, cells: np.ndarray, gaps: np.ndarray, step: Step) -> tuple[np.ndarray, np.ndarray]:
        """Undo `_forward` in the sense of the transposed matrix."""
        model = self.model
        fit = self._entry_fit(step)
        at_start = cells[model.first, :, AIR]
        anywhere = np.add.reduceat(cells[:, :, AIR], model.first, axis=0) / model.lengths[:, None]
        starts = model.to_start @ (fit[:, None] * at_start) + model.to_resume @ (fit[:, None] * anywhere)
        starts = starts @ model.rates_at_start.T
        gap_values = self._gap_ways(step) @ gaps
        gap_values += starts * model.starts_without_stop[:, None] if step.stopped else starts

        before = model.before_feed[:, None, None]
        stopped = gaps[model.stopped[:-1]][model.section_of][:, :, None]
        broken = gaps[model.broken][model.section_of][:, :, None]
        stays = cells * (1 - BREAKS_OFF) * (1 - TAKEN_OUT * before)
        value = stays + BREAKS_OFF * broken + np.where(before, TAKEN_OUT * stopped, 0.0)
        after = np.zeros_like(value)
        after[:-1] = value[1:]
        after[model.last] = gaps[model.waiting[1:]][:, :, None]
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
        """How probable it is to hear this step in each cell (cells, rates, modes) and gap (gaps, 1)."""
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
        return cells, gaps[:, None]


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
