"""The comb of a rotation: found, fitted, taken out of a sound."""
