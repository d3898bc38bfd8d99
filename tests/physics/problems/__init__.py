"""Problems with a known answer: tests hold them to bounds, the documentation shows them."""

from problems import (
    evaporation,
    exponential,
    infiltration,
    integrators,
    order,
    published,
    steady,
)

SECTIONS = {
    "At rest and in steady flow": (*steady.PROBLEMS, exponential.PROBLEMS[0]),
    "Flow that changes, in closed form": (*exponential.PROBLEMS[1:], *infiltration.PROBLEMS),
    "Published infiltration problems": published.PROBLEMS,
    "Evaporation": evaporation.PROBLEMS,
    "Other integrators": integrators.PROBLEMS,
    "Orders of convergence": order.PROBLEMS,
}
"""All problems by heading, in the order of the page."""

PROBLEMS = {problem.title: problem for problems in SECTIONS.values() for problem in problems}
