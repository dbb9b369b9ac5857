"""From the clues of a line to the odds that it is chatter: a sum that can be read aloud.

Every clue adds by a curve of its own that only ever rises, or only ever falls: more height over the comb
cannot speak against chatter, more strangers not for it. That keeps the fit from leaning on accidents of the
sounds it was fitted to, and each clue's part in a verdict is a number that can be shown. A few products of
two clues add where only both together say something. The weights are fitted to simulated cuts, see the
detector's benchmark.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.chatter.clues import CLUES


@dataclass(frozen=True, kw_only=True, eq=False)
class EvidenceModel:
    """The curves.

    Attributes
    ----------
    base
        Log-odds where nothing speaks for chatter.
    steps
        ``(clue, low, high, weight)``: adds the weight times how far the clue is between low and high.
    products
        ``(clue, low, high, clue, low, high, weight)``: adds the weight times both shares.
    """

    base: float
    steps: tuple[tuple[str, float, float, float], ...]
    products: tuple[tuple[str, float, float, str, float, float, float], ...]

    def __post_init__(self):
        names = [row[0] for row in self.steps]
        names += [row[at] for row in self.products for at in (0, 3)]
        spans = [row[1:3] for row in self.steps]
        spans += [row[at : at + 2] for row in self.products for at in (1, 4)]
        low, high = np.array(spans).T
        keep = object.__setattr__
        keep(self, "_clues", np.array([CLUES.index(name) for name in names], dtype=np.intp))
        keep(self, "_low", low)
        keep(self, "_per_unit", 1.0 / (high - low))
        keep(self, "_weights", np.array([row[-1] for row in (*self.steps, *self.products)]))

    def log_odds(self, clues: np.ndarray) -> np.ndarray:
        """Return the log-odds of each line, shape ``(lines,)``.

        Parameters
        ----------
        clues
            Shape ``(lines, len(CLUES))``.
        """
        return self.base + self.columns(clues) @ self._weights

    def columns(self, clues: np.ndarray) -> np.ndarray:
        """Return the share of every step and product, from 0 to 1, shape ``(lines, steps + products)``."""
        shares = (clues[:, self._clues] - self._low) * self._per_unit
        shares = np.minimum(np.maximum(shares, 0.0), 1.0)
        count = len(self.steps)
        return np.concatenate((shares[:, :count], shares[:, count::2] * shares[:, count + 1 :: 2]), axis=1)

    def terms(self, clues: np.ndarray) -> dict[str, float]:
        """Return what the base and each clue of a line add to its log-odds; products are halved between two.

        Parameters
        ----------
        clues
            Shape ``(len(CLUES),)``.
        """
        parts = self.columns(clues[None, :])[0] * self._weights
        count = len(self.steps)
        whole = np.zeros(len(CLUES))
        np.add.at(whole, self._clues[:count], parts[:count])
        np.add.at(whole, self._clues[count::2], 0.5 * parts[count:])
        np.add.at(whole, self._clues[count + 1 :: 2], 0.5 * parts[count:])
        return {"base": self.base, **dict(zip(CLUES, whole.tolist(), strict=True))}
