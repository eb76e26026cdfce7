"""What `tune` and `whatif` found, as JSON.

What may live here: the keys and their units. Every figure comes with both ends
of its interval, null where there is none.
"""

from math import isfinite

from controller.cli.modelled import IN_THE_MODEL, Modelled
from controller.cli.tuned import Tuned, told, way_text
from sim.fitting.fitted import Fitted
from sim.tuning.coverage import DUTY_MARGIN, MARGIN_K, coverage
from sim.tuning.figures import Figures
from sim.tuning.granting import Granted, Impossible
from sim.tuning.jackknifed import LEVEL, Predicted


def as_json(found: Tuned) -> dict[str, object]:
    """Return what a search found."""
    search = found.search
    return {
        **about(found.log, found.of),
        "candidates": {
            "tried": found.tried,
            "seed": found.seed,
            "left_out": dict(search.unrun),
        },
        "wish": None if found.wish is None else found.wish.text,
        "answer": _answer(found),
        "ways": [
            {"name": name, **way(found.figures, index, found)}
            for name, index in found.ways()
        ],
        "nondominated": [
            way(found.figures, index, found)
            for index in found.some_of_front(len(search.reasons))
        ],
        "notes": list(found.notes),
        "evening": list(found.evening),
    }


def about(log: str, of: Modelled) -> dict[str, object]:
    """Return what is spoken of, and how sure it is."""
    seen = coverage(of.record, of.asked)
    return {
        "log": log,
        "mat": of.own.name,
        "figures_are": IN_THE_MODEL,
        "from": of.season.starts.isoformat(),
        "hours": of.season.hours,
        "interval": {
            "level": LEVEL,
            "how": "delete-a-block jackknife over days, paired, Student's t",
            "models": len(of.worlds) - 1,
        },
        "zones": [_zone(fit) for fit in of.fits],
        "covers": {
            "driving_c": [seen.low_c, seen.high_c],
            "margin_k": MARGIN_K,
            "duty": list(seen.duty),
            "duty_margin": DUTY_MARGIN,
            "room_c": list(seen.room_c),
            "one_setpoint_only": seen.narrow,
        },
        "recorded": {
            "duty": of.recorded_duty,
            "relay_operations": of.recorded_operations,
            "kept_alike": of.one_plan,
        },
    }


def _zone(fit: Fitted) -> dict[str, object]:
    return {
        "name": fit.name,
        "one_step_rms_k": None if fit.residuals is None else fit.residuals.rms_k,
        "verdicts": list(fit.verdicts),
    }


def way(figures: Figures, index: int, found: Tuned) -> dict[str, object]:
    """Return one candidate with its figures."""
    terms = found.terms
    figure: dict[str, Predicted] = {
        "energy_kwh": figures.energy_kwh,
        "relay_operations": figures.operations,
        "duty": figures.duty,
        "deviation_k": figures.deviation_k,
        "in_band_share": figures.in_band,
        "trays_apart_k": figures.uneven_k,
        "below_cutout_k": figures.margin_k,
        "heat_refused_h": figures.refused_h,
    }
    if figures.surface_margin_k is not None:
        figure["surface_below_cutout_k"] = figures.surface_margin_k
    told_of: dict[str, object] = {
        "candidate": index,
        "way": way_text(figures.plans[index], fahrenheit=terms.fahrenheit),
        "band_k": figures.band_k,
        "reason_not_recommended": found.search.reasons[index] or None,
    }
    told_of.update({key: _ends(value, index) for key, value in figure.items()})
    if terms.price is not None:
        energy_kwh = float(figures.energy_kwh[index, 0])
        told_of["cost"] = {
            "value": energy_kwh * terms.price.per_kwh,
            "currency": terms.price.currency,
        }
    told_of["trays"] = {
        name: _tray(figures, n, index) for n, name in enumerate(figures.trays)
    }
    return told_of


def _tray(figures: Figures, tray: int, index: int) -> dict[str, object]:
    found: dict[str, object] = {
        "lowest_c": _ends(figures.low_c[tray], index),
        "highest_c": _ends(figures.high_c[tray], index),
        "degree_hours_k_h": _ends(figures.heat_k_h[tray], index),
    }
    if figures.rooting is not None:
        after_h = figures.rooted_after_h(tray)
        at = figures.season.date_of(float(after_h[index, 0]))
        found["rooted_after_h"] = _ends(after_h, index)
        found["rooted_at"] = None if at is None else at.isoformat()
    return found


def _ends(predicted: Predicted, index: int) -> dict[str, float | None]:
    found = told(predicted, index)
    ends = {"value": found.value, "low": found.low, "high": found.high}
    return {
        key: value if value is not None and isfinite(value) else None
        for key, value in ends.items()
    }


def _answer(found: Tuned) -> dict[str, object] | None:
    match found.answer:
        case Granted() as answer:
            return {
                "possible": True,
                "recommended": answer.chosen,
                "best": answer.best,
                "tied": list(answer.tied),
                "meeting": answer.meeting,
                "proved": {
                    str(index): {
                        "core_says_the_same": proof.same,
                        "core_days": proof.days,
                        "relay_operations": int(proof.fine.operations[0]),
                        "on_s": float(proof.fine.on_s[0]),
                    }
                    for index, proof in found.proofs.items()
                },
            }
        case Impossible() as answer:
            return {
                "possible": False,
                "nearest": answer.nearest,
                "shortfalls": [
                    {
                        "constraint": str(short.constraint),
                        "best_slack": short.best_slack,
                        "nearest_slack": short.nearest_slack,
                    }
                    for short in answer.shortfalls
                ],
            }
        case None:
            return None
