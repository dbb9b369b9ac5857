"""Where cases are drawn from."""

import numpy as np


def log_uniform(rng, bounds):
    """Draw from a range, each factor as likely as the next."""
    return float(np.exp(rng.uniform(np.log(bounds[0]), np.log(bounds[1]))))


def generator(family, seed):
    """Return the chance that a case is drawn from: of its family and seed alone."""
    return np.random.default_rng([ord(letter) for letter in family] + [int(seed)])
