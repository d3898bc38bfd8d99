"""What a decision checks that starts from a calibration: nothing else is told otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from soilwater.learning.calibration import Calibration
from soilwater.words.errors import Faults


def check_calibration(
    calibration: Calibration | None,
    given: Mapping[str, tuple[Any, Any]],
    faults: Faults,
) -> None:
    """Note what was given beside a calibration that it knows otherwise.

    Parameters
    ----------
    calibration : Calibration or None
        What was learnt.
    given : mapping of str to tuple
        By the name of an argument, what was given and what agrees with the calibration.
    faults : Faults
        Takes what does not agree.
    """
    if calibration is None:
        return
    if not isinstance(calibration, Calibration):
        faults.add(f"calibration is a {type(calibration).__name__}", cure="give that of calibrate")
        return
    for name, (value, agrees) in given.items():
        if value is not agrees and not (type(value) is type(agrees) and value == agrees):
            anew = ": a fit made anew is another one" if name == "sand" else ""
            faults.add(
                f"{name} is not what the calibration was learnt with{anew}",
                cure=f"give {name}=calibration.{name}"
                if hasattr(calibration, name)
                else f"leave {name} out: the calibration holds it jointly with the rest",
            )
