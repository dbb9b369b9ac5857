"""How long cutting edges last, from few of them: survival, Weibull, Taylor, wear, and which kind is better.

Pure mathematics on minutes in the cut. What cannot be told yet is an answer too: `CannotTell` says why.
"""
