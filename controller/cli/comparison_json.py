"""A comparison of arms for programs. What may live here: JSON."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, is_dataclass
from enum import Enum

from controller.cli.asking import Json
from controller.cli.trial_indices import arm_indices
from controller.cli.trial_seen import Found
from controller.trials.comparison import Comparison
from controller.trials.observed import arms_of, of_arms
from controller.trials.verdict import Rule


def as_json(found: Comparison, own: Found, rule: Rule, *, indices: bool) -> Json:
    """Return a comparison as a JSON object; keys are those of the dataclasses.

    What is infinite (an end that was not seen to come) is null.
    """
    told: Json = {
        "test": rule.chosen.value,
        "alpha": rule.alpha,
        "shares_by_days": _plain(rule.by),
        "base_c": rule.base_c,
        "seed": rule.seed,
        **_object(_plain(found)),
        "tugs": {
            arm: {"held": held, "gave": gave} for arm, (held, gave) in own.tugs.items()
        },
        "notes": own.notes,
    }
    if indices:
        told["indices"] = {
            arm: _plain(arm_indices(of_arms(own.units, arm)))
            for arm in arms_of(own.units)
        }
    return told


def _object(value: object) -> Json:
    return value if isinstance(value, dict) else {}


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Mapping):
        return {_key(key): _plain(one) for key, one in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(one) for one in value]
    return value.value if isinstance(value, Enum) else value


def _key(key: object) -> str:
    return f"{key:g}" if isinstance(key, float) else str(key)
