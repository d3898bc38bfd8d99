"""What must stand beside an answer: limits of the model, and where somebody else decides.

Each decision names the topics that touch it; the sentences are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence

from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units, range_in_people_units
from soilwater.words.unit_choice import worded

CAUTIONS: dict[str, str] = {
    "construction": (
        "depths are advice, not a design for construction: drainage, outlets, edges, structures "
        "and slopes belong to the licensed designer and local code; recommendations change, hold "
        "the current edition"
    ),
    "level ground": (
        "each spot is worked out as a level column; where surface or gravel slopes, water moves "
        "sideways: two days after a soaking 10 m of gravel at 0.5 % can take 2 % by volume off "
        "the reading at its crest, at 1.5 % 5 %"
    ),
    "sloping ground": (
        "beyond the edge no water is shared, unless a line is told; what runs over the turf onto a "
        "low place is left out; levels count more than depths: 1 cm of level in 2 m is worth 0.5 % "
        "by volume; one line is not a green: water also leaves it sideways; drainage and regrading "
        "belong to the licensed designer"
    ),
    "base suction": (
        "the suction left at the base is assumed, not measured on site; 9 cm of it are worth 9 cm "
        "of depth"
    ),
    "accuracy": (
        "better than +-2 % by volume is not credible: the best field comparison of a calibrated "
        "model of greens had errors of 1.5 to 2.8 % (McCoy and McCoy 2009, Agric. Water Manage. "
        "96:405, read as an abstract), and meters add 2 to 3 % (common practice, no source)"
    ),
    "drying curve": (
        "the laboratory curve is a drying one; the field can hold less at the same suction, and "
        "one field study found it nearer the wetting curve"
    ),
    "wilt": (
        "lines for wilt and firmness are local: species, roots, mat and rods set them, and eyes on "
        "the turf go before any schedule"
    ),
    "heat": (
        "in heat look at the turf, not at the plan; syringing cools for minutes and is no "
        "irrigation; mind the crew: heat, traffic and lightning"
    ),
    "label": (
        "the label is the law for wetting agents, pesticides and gypsum; no rate is given here"
    ),
    "backflow": (
        "injection into irrigation and filling of tanks need the backflow protection that local "
        "code asks for"
    ),
    "water law": "allocations and restriction days go before any amount given here",
    "repellent": (
        "water that runs off a repellent patch does not count: check with a probe, and water it "
        "slowly"
    ),
    "salt": (
        "salt is not modelled, and a meter reads high in salty soil; test water and soil before "
        "flushing"
    ),
    "not modelled": (
        "not modelled: frost, snow, swelling, preferential flow in repellent sand, disease, "
        "nematodes, fairy ring, shade, compaction and mower damage"
    ),
    "private": "maps of a club are its own: nothing is sent anywhere from here",
    "blame": (
        "causes are consistent or not consistent with the numbers; numbers of +-1 in and +-3 % "
        "cannot say who is at fault"
    ),
}
"""Sentences by topic; facts without a source in them are common practice, no source."""

IN_A_LINE: dict[str, str] = {
    "construction": "depths are advice, not a design: licensed designers and local code decide",
    "level ground": "level ground is taken: over a sloping gravel water moves sideways",
    "sloping ground": "closed edges, no run-on; 1 cm of level in 2 m is worth 0.5 % by volume",
    "base suction": "the suction left at the base is assumed; 9 cm of it are worth 9 cm of depth",
    "accuracy": "no better than +-2 % by volume, and a meter adds 2 to 3 %",
    "drying curve": "the lab's curve is a drying one; the field can hold less",
    "wilt": "lines for wilt and firmness are local; eyes on the turf go before any schedule",
    "heat": "in heat look at the turf, not at the plan; mind the crew: heat, traffic, lightning",
    "label": "the label is the law for whatever is applied; no rate is given here",
    "backflow": "filling tanks and injecting need the backflow protection of local code",
    "water law": "allocations and restriction days go before any amount given here",
    "repellent": "water that runs off a repellent patch does not count; water it slowly",
    "salt": "salt is not modelled, and a meter reads high in salty soil",
    "not modelled": "not modelled: frost, swelling, fingers of water, disease, shade, compaction",
    "private": "maps of a club are its own: nothing is sent anywhere from here",
    "blame": "causes are consistent or not with the numbers; they do not say who is at fault",
}
"""The same in one line each, as they stand under an answer."""

DANGERS = ("heat", "backflow", "label", "construction", "water law")
"""Topics that can hurt someone, or that somebody else decides, the first to be read."""

MOST_SHOWN = 3
"""Lines under an answer; one of them is its own where it has cautions of its own."""

SLOPE_THAT_COUNTS = 0.005
"""Slope [1] from which a level column needs a warning: the crest of 10 m of it reads 0.4 to 2 % by
volume less, by `slope_equivalent` over sands of greens."""


def cautions_for(*topics: str) -> tuple[str, ...]:
    """Choose the sentences that belong beside an answer.

    Parameters
    ----------
    *topics : str
        Keys of `CAUTIONS`, in the order wanted.

    Returns
    -------
    tuple of str
        One sentence a topic, without a full stop.

    Raises
    ------
    InputError
        For topics that are not known, all at once.

    Examples
    --------
    >>> cautions_for("water law")
    ('allocations and restriction days go before any amount given here',)
    """
    faults = Faults("cautions_for")
    for topic in topics:
        if topic not in CAUTIONS:
            faults.add(f'"{topic}" is no topic', allowed=", ".join(CAUTIONS))
    faults.raise_if_any()
    return tuple(CAUTIONS[topic] for topic in topics)


def caution_lines(cautions: Sequence[str]) -> list[str]:
    """Choose the few cautions that stand under an answer, dangers first, a line each.

    The first of what belongs to this answer alone is always among them; what is true of every such
    answer is shown while there is room, and all of it stands in the `cautions` of the answer.

    Parameters
    ----------
    cautions : sequence of str
        All that belong to the answer, in full.

    Returns
    -------
    list of str
        At most `MOST_SHOWN` that begin with "caution:", and one that says how many more there are.

    Examples
    --------
    >>> told = ("the lab drained only two cores", *cautions_for("heat", "salt"))
    >>> for line in caution_lines(told):
    ...     print(line)
    caution: in heat look at the turf, not at the plan; mind the crew: heat, traffic, lightning
    caution: the lab drained only two cores
    caution: salt is not modelled, and a meter reads high in salty soil
    """
    topic_of = {sentence: topic for topic, sentence in CAUTIONS.items()}
    own = [each for each in cautions if each not in topic_of]
    usual = [topic_of[each] for each in cautions if topic_of.get(each, "") not in ("", *DANGERS)]
    dangers = dangers_among(cautions)[: MOST_SHOWN - 1 if own else MOST_SHOWN]
    shown = [*dangers, *own, *(IN_A_LINE[topic] for topic in usual)][:MOST_SHOWN]
    left = len(set(cautions)) - len(shown)
    more = [f"cautions in full, {left} more of them: .cautions"] if left > 0 else []
    return [*(f"caution: {each}" for each in shown), *more]


def dangers_among(cautions: Sequence[str]) -> list[str]:
    """Tell the dangers among cautions in a line each, no more than `MOST_SHOWN`.

    Parameters
    ----------
    cautions : sequence of str
        All that belong to the answer, in full.

    Returns
    -------
    list of str
        Of `IN_A_LINE`, the first to be read first.

    Examples
    --------
    >>> dangers_among(cautions_for("salt", "water law"))
    ['allocations and restriction days go before any amount given here']
    """
    return [IN_A_LINE[each] for each in DANGERS if CAUTIONS[each] in cautions][:MOST_SHOWN]


def slope_caution(slope: float, low: float, high: float, *, where: str = "this spot") -> str:
    """Say in centimetres what a slope does to a spot.

    Parameters
    ----------
    slope : float
        Slope of the gravel floor, rise over run [1].
    low, high : float
        Extra depth [cm] the spot behaves as if it had, as from `slope_equivalent`.
    where : str, optional
        What the spot is called.

    Returns
    -------
    str
        Empty where the slope is too small to matter.

    Examples
    --------
    >>> slope_caution(0.04, 7.5, 12.4, where="the back shoulder")
    'on a slope of 4.0 % (1:25) the back shoulder behaves as if 7.5 to 12.4 cm \
(3.0 to 4.9 in) deeper: a screening estimate that takes the gravel to slope like the surface'
    """
    if slope < SLOPE_THAT_COUNTS:
        return ""
    return worded(
        lambda: (
            f"on a slope of {in_people_units(slope, 'slope')} {where} behaves as if "
            f"{range_in_people_units(low, high, 'length')} deeper: a screening estimate that "
            "takes the gravel to slope like the surface"
        )
    )
