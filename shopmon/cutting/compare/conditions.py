"""What else differed between two sides, so that it may be that and not the tool."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

APART = 0.1  # medians of a number that differ by more are said
MOSTLY = 0.8


@dataclass(frozen=True, kw_only=True)
class Use:
    """One cut or part: what it was done under. Missing conditions are left out.

    Attributes
    ----------
    words
        Such as material, operation, holder, coolant.
    numbers
        Such as speed, feed and depths; the key names the unit, as in ``cutting speed (m/min)``.
    order
        Its place in time.
    """

    words: Mapping[str, str] = field(default_factory=dict)
    numbers: Mapping[str, float] = field(default_factory=dict)
    order: float | None = None


def confounded(a: Sequence[Use], b: Sequence[Use], names: tuple[str, str] = ("A", "B")) -> list[str]:
    """Return one sentence for each condition that differed along with the side."""
    said = [_words(key, a, b, names) for key in _keys(a, b, "words")]
    said += [_numbers(key, a, b, names) for key in _keys(a, b, "numbers")]
    said.append(_order(a, b, names))
    return [sentence for sentence in said if sentence]


def _keys(a: Sequence[Use], b: Sequence[Use], kind: str) -> list[str]:
    return list(dict.fromkeys(key for use in (*a, *b) for key in getattr(use, kind)))


def _all_of(uses: Sequence[Use], kind: str, key: str) -> list[Any]:
    return [getattr(use, kind)[key] for use in uses if getattr(use, kind).get(key) is not None]


def _words(key: str, a: Sequence[Use], b: Sequence[Use], names: tuple[str, str]) -> str:
    first, second = _all_of(a, "words", key), _all_of(b, "words", key)
    if not first or not second:
        return ""
    usual = [max(sorted(set(each)), key=each.count) for each in (first, second)]
    if set(first).isdisjoint(second):
        return (
            f"{key.capitalize()}: {names[0]} only {_listed(first)}, {names[1]} only {_listed(second)}; "
            "whether it is that or the tool cannot be told."
        )
    shares = [each.count(word) / len(each) for each, word in zip((first, second), usual, strict=True)]
    if usual[0] != usual[1] and min(shares) >= MOSTLY:
        return f"{key.capitalize()}: {names[0]} mostly {usual[0]}, {names[1]} mostly {usual[1]}."
    return ""


def _listed(words: list[str]) -> str:
    found = sorted(set(words))
    return ", ".join(found[:3]) + (" …" if len(found) > 3 else "")


def _numbers(key: str, a: Sequence[Use], b: Sequence[Use], names: tuple[str, str]) -> str:
    first, second = (np.median(each) if (each := _all_of(side, "numbers", key)) else None for side in (a, b))
    if first is None or second is None or not max(first, second) > (1 + APART) * min(first, second):
        return ""
    name, _, unit = key.partition(" (")
    unit = f" {unit.rstrip(')')}" if unit else ""
    return f"{name.capitalize()}: {names[0]} at {first:.3g}{unit}, {names[1]} at {second:.3g}{unit}."


def _order(a: Sequence[Use], b: Sequence[Use], names: tuple[str, str]) -> str:
    first, second = ([use.order for use in side if use.order is not None] for side in (a, b))
    if min(len(first), len(second)) < 2:
        return ""
    for one, other, who in ((first, second, names), (second, first, names[::-1])):
        if max(one) < min(other):
            return f"Time: all of {who[0]} came before all of {who[1]}; what changed meanwhile is in it too."
    return ""
